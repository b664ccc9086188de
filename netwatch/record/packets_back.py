"""Packets of a recorded session found again by their numbers, and its slices made fit to be handed on."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from netwatch.network.clock import FoldClock
from netwatch.numbers import DEFAULTS
from netwatch.packets.batch import Item, Mark, PacketBatch
from netwatch.packets.files import CaptureError, open_captures
from netwatch.packets.keep import Keeper
from netwatch.record.journal import Slice
from netwatch.record.rolling import Segment

Runs = Sequence[tuple[int, int]]
"""(first number, how many) of a file's packets, in order."""


def found(folder: Path, files: Sequence[Slice | Segment], numbers: Collection[int]) -> dict[int, tuple[PacketBatch, str, int]]:
    """(batch of one row, file, number in the file) by packet number; what can't be read is left out."""
    out: dict[int, tuple[PacketBatch, str, int]] = {}
    for each in files:
        wanted = {n for n in numbers if n not in out and _within(each.runs, n)}
        if not wanted or each.gone is not None:
            continue
        for batch in _numbered(folder / each.file, each.runs):
            for n in sorted(wanted):
                if batch.first <= n < batch.first + batch.rows:
                    out[n] = batch.only(n - batch.first), each.file, _place(each.runs, n)
    return out


def hand_on(folder: Path, slices: Sequence[Slice], talk: Sequence[Segment], said: Mapping[int, str], to: Path) -> list[Path]:
    """Slices with all that the rig said before them, and with comments on the packets of ``said``. Raises ``CaptureError``."""
    before = [folder / each.file for each in talk if each.gone is None and (folder / each.file).exists()]
    written = []
    for each in slices:
        if each.gone is not None or not (folder / each.file).exists():
            continue
        path = to / each.file
        keeper = Keeper(path, f"netwatch slice: {', '.join(each.why)}")
        try:
            for item in _talk_before(before, each.first):
                keeper.write(item)
            for item in _items(folder / each.file, each.runs):
                comments = {} if isinstance(item, Mark) else _comments(item, said)
                keeper.write(item, comments)
        finally:
            keeper.close()
        written.append(path)
    return written


def _comments(batch: PacketBatch, said: Mapping[int, str]) -> dict[int, str]:
    return {n - batch.first: text for n, text in said.items() if batch.first <= n < batch.first + batch.rows}


def _talk_before(paths: Sequence[Path], time: int) -> Iterator[Item]:
    """What the rig said before a fold time."""
    clock = FoldClock(DEFAULTS)
    for item in open_captures(paths) if paths else ():
        if isinstance(item, Mark):
            if clock.mark(item)[0] < time:
                yield item
        elif (early := clock.batch(item)[0] < time).any():
            yield item.chosen(early)


def _items(path: Path, runs: Runs) -> Iterator[Item]:
    """Marks, and batches numbered as in the session."""
    at = 0
    for item in open_captures([path]):
        if isinstance(item, Mark):
            yield item
            continue
        low = 0
        while low < item.rows:
            first, left = _run(runs, at)
            rows = min(left, item.rows - low)
            yield replace(item.part(low, low + rows), first=first)
            low, at = low + rows, at + rows


def _numbered(path: Path, runs: Runs) -> Iterator[PacketBatch]:
    try:
        for item in _items(path, runs):
            if isinstance(item, PacketBatch):
                yield item
    except CaptureError:
        return


def _run(runs: Runs, at: int) -> tuple[int, int]:
    """Number of the packet at place ``at`` (from 0) of a file, and how many follow on it; beyond the runs all have number 0."""
    for first, rows in runs:
        if at < rows:
            return first + at, rows - at
        at -= rows
    return 0, 1 << 62


def _within(runs: Runs, n: int) -> bool:
    return any(first <= n < first + rows for first, rows in runs)


def _place(runs: Runs, n: int) -> int:
    """From 1."""
    before = 0
    for first, rows in runs:
        if first <= n < first + rows:
            return before + n - first + 1
        before += rows
    return 0
