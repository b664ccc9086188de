"""The moments that a person marked: the word, what was open then, what changed before. No alert need have told of them."""

from __future__ import annotations

from collections.abc import Sequence

from netwatch.story.snapshot import Before, MarkView, Snapshot
from netwatch.words import changes
from netwatch.words.phases import NOTHING_BEFORE, alerts_then
from netwatch.words.phrases import plain, start

from .layout import Line, hang, wrap
from .times import Times

MARGIN = 10
MOST, MOST_BEFORE = 40, 4
"""Marks that are told; changes before one."""


def marks(snapshot: Snapshot, times: Times, width: int) -> list[Line]:
    """A heading and the marks in order of time; nothing where there is none."""
    if not snapshot.marks:
        return []
    lines = [Line("MARKED BY HAND", "head")]
    for mark in snapshot.marks[:MOST]:
        lines += [Line(text) for text in _mark(mark, times, width)]
    left = len(snapshot.marks) - MOST
    lines += [Line(text) for text in wrap(f"and {left} more", width)] if left > 0 else []
    return [*lines, Line("")]


def _mark(mark: MarkView, times: Times, width: int) -> list[str]:
    lines = hang(times.clock(mark.at), plain(mark.word), width, MARGIN)
    lines += hang("", alerts_then(list(mark.alerts)), width, MARGIN)
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
