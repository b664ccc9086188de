"""The sheet of a soak, as text and as plain values."""

from __future__ import annotations

from datetime import tzinfo
from typing import Any

from netwatch import words
from netwatch.report.layout import Line, hang, painted, wrap
from netwatch.report.times import Times
from netwatch.story.document import seconds
from netwatch.story.snapshot import Snapshot
from netwatch.story.soak import Item, Sheet
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


def _told(each: Item, times: Times) -> str:
    if each.alert is None:
        return f"{each.name}: {plain(each.text)}"
    closed = each.alert.closed
    return said.over(each.text, times.clock(each.alert.since), None if closed is None else times.clock(closed))


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
