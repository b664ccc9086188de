"""The sheet of a soak, as text, as a page to print and as plain values."""

from __future__ import annotations

from datetime import tzinfo
from typing import Any

from netwatch import words
from netwatch.report.brief import Job, facts
from netwatch.report.html import render as render_page
from netwatch.report.layout import Line, hang, painted, wrap
from netwatch.report.masked import hider, personal
from netwatch.report.times import Times
from netwatch.story.document import seconds
from netwatch.story.evening import Evening
from netwatch.story.snapshot import Snapshot
from netwatch.story.soak import Item, Sheet
from netwatch.words import report
from netwatch.words import soak as said
from netwatch.words.phrases import plain

SCHEMA = 1
_STYLES = {said.READY: "head", said.NOT_READY: "now", said.CANNOT_SAY: "quality"}
_MARKS = {said.FAILED: "!", said.LOOK: "~", said.UNTESTED: "?", said.PASSED: "+"}


def render(snapshot: Snapshot, sheet: Sheet, *, colour: bool, width: int, zone: tzinfo | None = None) -> str:
    """Lines of at most ``width`` cells, each ended by a newline."""
    times = Times(snapshot.first, zone)
    lines = [Line(sheet.verdict, _STYLES[sheet.verdict])]
    lines += [Line(text) for text in wrap(said.MEANINGS[sheet.verdict], width)]
    where = [f"{each.interface} ({words.VANTAGE[each.vantage].name})" for each in snapshot.listening]
    span = times.span(snapshot.first or snapshot.now, snapshot.now)
    lines += [Line(text) for text in wrap(said.listened(where, span, snapshot.packets), width)]
    for head in said.HEADS:
        found = sheet.of(head)
        lines += [Line(""), Line(head, "head")] if found else []
        for each in found:
            lines += [Line(text) for text in hang(_MARKS[head], _told(each, times), width, 2)]
            if each.step and head == said.FAILED:
                lines += [Line(text) for text in hang("", said.do(each.step), width, 4)]
    return painted(lines, colour)


def page(snapshot: Snapshot, sheet: Sheet, job: Job, zone: tzinfo | None = None) -> str:
    """The sheet to print; people's own devices without their names, unless ``job.names``."""
    evening = Evening(snapshot, [], None)
    hide = (lambda text: text) if job.names else hider(personal(snapshot))
    times = Times(snapshot.first, zone)
    kept = (report.JOB, report.DATE, report.BY, report.SOCKET, report.RECORDED, report.LISTENED, report.DROPPED, report.PROGRAM)
    parts = [
        (head, [(hide(_told(each, times)), said.do(each.step) if each.step and head == said.FAILED else "") for each in found])
        for head in said.HEADS if (found := sheet.of(head))
    ]  # fmt: skip
    return render_page(
        "soak.html", title=said.TITLE, job=job, facts=[row for row in facts(evening, job, times) if row[0] in kept],
        verdict=sheet.verdict, meaning=said.MEANINGS[sheet.verdict], parts=parts,
    )  # fmt: skip


def _told(each: Item, times: Times) -> str:
    if each.alert is None:
        return f"{each.name}: {plain(each.text)}"
    closed = each.alert.closed
    told = said.over(each.text, times.clock(each.alert.since), None if closed is None else times.clock(closed))
    seen = words.seen(each.alert.code, each.alert.facts, times.clock) if each.state == said.FAILED else ()
    return " ".join((told, *seen))


def data(snapshot: Snapshot, sheet: Sheet) -> dict[str, Any]:
    """Plain values that ``json.dumps`` takes."""
    return {
        "schema": SCHEMA, "verdict": sheet.verdict, "first": seconds(snapshot.first), "last": seconds(snapshot.now),
        "packets": snapshot.packets,
        "listening": [{"interface": each.interface, "from": each.vantage} for each in snapshot.listening],
        "items": [_item(each) for each in sheet.items],
    }  # fmt: skip


def _item(each: Item) -> dict[str, Any]:
    return {
        "state": each.state, "name": each.name or None, "text": each.text, "step": each.step or None,
        "code": None if each.alert is None else each.alert.code, "vital": each.vital,
    }  # fmt: skip
