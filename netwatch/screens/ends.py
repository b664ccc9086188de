"""Runs out: what ends by itself, and when, soonest first."""

from __future__ import annotations

from collections.abc import Hashable, Sequence

from rich.text import Text
from textual.geometry import Size

from netwatch.screens.columns import nobody
from netwatch.screens.lines import Row
from netwatch.screens.looks import Look
from netwatch.screens.words import NS, cell, clock, flow, span
from netwatch.story.snapshot import Ending, Snapshot
from netwatch.words import endings as words

WHEN, LEFT, WHAT = 17, 17, 9
TITLES = {"lease": "address", "query": "query", "group": "universe"}
WIDE = 100
"""Cells from which on all stands in one line."""


def rows(snapshot: Snapshot, size: Size, look: Look) -> Sequence[Row]:
    """One entry for each thing that ends; a last line where leases can't be seen from here."""
    shown = [_row(each, snapshot.now, size.width, look) for each in snapshot.endings]
    shown = shown or [nobody(words.NOTHING, size, look)]
    if not any(each.what == "lease" for each in snapshot.endings) and snapshot.servers:
        text = flow(((words.LEASES_UNSEEN, look.faint),), size.width)
        shown += [Row("unseen", lambda: [Text(), *text], len(text) + 1, chosen=False)]
    return shown


def _row(ending: Ending, now: int, width: int, look: Look) -> Row:
    key = ("ending", ending.what, ending.interface, ending.vlan, ending.name)
    start = Text.assemble(
        cell(when(ending), WHEN, look.strong), " ", cell(left(ending, now), LEFT, look.text), " ",
        cell(TITLES[ending.what], WHAT, look.faint),
    )  # fmt: skip
    text = ending.text + ("" if ending.renews is None else f" {words.asks(clock(ending.renews))}")
    if width < WIDE:
        lines = flow(((text, look.text),), width - 4)
        return Row(key, lambda: [start, *(Text.assemble("    ", each) for each in lines)], len(lines) + 1)
    lines = flow(((text, look.text),), width - start.cell_len - 1)
    blank = Text(" " * start.cell_len)
    return Row(key, lambda: [Text.assemble(start if not at else blank, " ", each) for at, each in enumerate(lines)], len(lines))


def when(ending: Ending) -> str:
    """'21:40:12', or '21:40:12-21:43:22' where it may happen at any moment between."""
    return clock(ending.at) + (f"-{clock(ending.by)}" if ending.by is not None and ending.by != ending.at else "")


def left(ending: Ending, now: int) -> str:
    """'in 3 min 20 s', or how long it is overdue."""
    end = ending.at if ending.at >= now or ending.by is None else ending.by
    if end >= now:
        return f"in {span(end - now)}" if ending.at >= now else "any moment"
    return "over" if ending.what == "lease" else f"due {span(now - end)} ago" if now - end >= NS else "due now"


def target(key: Hashable, snapshot: Snapshot) -> Hashable | None:
    """The key of the page that tells more of an ending."""
    for each in snapshot.endings:
        if key == ("ending", each.what, each.interface, each.vlan, each.name):
            kind, _, rest = each.subject.partition(":")
            if kind == "host":
                return "host", each.interface, each.vlan, rest
            if kind == "universe":
                return "universe", each.interface, each.vlan, "e131", int(rest)
    return None


def heading(width: int, look: Look) -> Text:
    """The titles of the columns."""
    return cell(f"{'when':{WHEN}} {'how long':{LEFT}} what ends", width, look.faint)
