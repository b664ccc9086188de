"""The moments that a person marked: the word, what was open then, what changed before. No alert need have told of them."""

from __future__ import annotations

from collections.abc import Sequence

from netwatch.story.snapshot import Before, MarkView, Snapshot
from netwatch.words import changes
from netwatch.words.phases import NO_ALERT, NOTHING_BEFORE, more_open, open_then
from netwatch.words.phrases import plain, start

from .findings import RANK
from .layout import Line, hang, wrap
from .times import Times

MARGIN = 10
MOST, MOST_BEFORE, MOST_OPEN = 40, 4, 6
"""Marks that are told; changes before one; alerts that were open then."""


def marks(snapshot: Snapshot, times: Times, width: int) -> list[Line]:
    """A heading and the marks in order of time; nothing where there is none."""
    if not snapshot.marks:
        return []
    lines = [Line("MARKED BY HAND", "head")]
    for mark in snapshot.marks[:MOST]:
        lines += [Line(text) for text in _mark(mark, snapshot, times, width)]
    left = len(snapshot.marks) - MOST
    lines += [Line(text) for text in wrap(f"and {left} more", width)] if left > 0 else []
    return [*lines, Line("")]


def open_at(mark: MarkView, snapshot: Snapshot) -> list[str]:
    """A sentence for each alert that was open at a mark, worst first; that none was is worth a sentence, too."""
    found = sorted((each for each in snapshot.alerts if each.id in mark.alerts), key=lambda each: (RANK[each.severity], each.id))
    told = [open_then(each.severity, each.title, each.id) for each in found[:MOST_OPEN]]
    left = len(mark.alerts) - len(told)
    return [*told, more_open(left)] if left > 0 else told or [NO_ALERT]


def _mark(mark: MarkView, snapshot: Snapshot, times: Times, width: int) -> list[str]:
    lines = hang(times.clock(mark.at), plain(mark.word), width, MARGIN)
    for text in open_at(mark, snapshot):
        lines += hang("", text, width, MARGIN)
    return lines + before(mark.before, mark.at, width)


def before(found: Sequence[Before], at: int, width: int) -> list[str]:
    """What changed just before a moment, nearest first."""
    if not found:
        return hang("", NOTHING_BEFORE, width, MARGIN)
    lines: list[str] = []
    for change in found[:MOST_BEFORE]:
        lines += hang("", f"{start(changes.when(change.at, at))}: {change.text}.", width, MARGIN)
    if len(found) > MOST_BEFORE:
        lines += hang("", changes.left_out(len(found) - MOST_BEFORE), width, MARGIN)
    return lines
