"""Fingerprints of each flow's newest changed frames: the same light is recognised in two protocols, or a moment later.

Only kept of flows whose universe another source or the other protocol sends too, from the tick after that on. A print is a sum of
the frame's words with odd factors: it shows likeness, and proves nothing against somebody who wants two frames to look alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from netwatch.network.clock import FOR_EVER, LONG_AGO
from netwatch.network.order import begins_of

I64 = npt.NDArray[np.int64]
U64 = npt.NDArray[np.uint64]
_T = TypeVar("_T", bound=np.generic)

KEPT = 48
"""Frames a flow: 1.1 s at 44 Hz."""
COMPARED = 16
"""Of these where two protocols are compared: 0.36 s at 44 Hz."""
OFFSETS = (-1, 0, 1, 2)
"""sACN universe minus Art-Net universe: of these pairs both may carry the same light."""
NO_TIME = LONG_AGO
_FACTORS: U64 = np.random.default_rng(512).integers(0, 1 << 64, 64, np.uint64) | np.uint64(1)


def prints_of(frames: npt.NDArray[np.uint8]) -> U64:
    """[rows] of frames [rows, 512]."""
    prints: U64 = frames.view(np.uint64) @ _FACTORS
    return prints


@dataclass(frozen=True, slots=True)
class _Stretch:
    """The newest stretch."""

    ids: I64
    """Flows that changed."""
    cell: I64
    """[rows] place of the flow in ``ids`` << 32 | tick of the stretch, rising."""
    lines: tuple[U64, I64]
    """[48 * ids + rows] prints and times: of one flow after the other the memory from before, then its rows, oldest first."""


class Prints:
    """Rings of 48 a flow, as many as the flow table has ids."""

    def __init__(self) -> None:
        self.on = False
        self._print: U64 = np.zeros((0, KEPT), np.uint64)
        self.time: I64 = np.zeros((0, KEPT), np.int64)
        """[flows, 48] ns, in no order; NO_TIME = none."""
        self._count: I64 = np.zeros(0, np.int64)
        """[flows] frames so far: the next one's place, modulo 48."""
        self._stretch: _Stretch | None = None

    def fit(self, flows: int) -> None:
        """Have room for so many flows."""
        more = flows - len(self._print)
        if more > 0:
            more = max(more, len(self._print))
            self._print = np.concatenate([self._print, np.zeros((more, KEPT), np.uint64)])
            self.time = np.concatenate([self.time, np.full((more, KEPT), NO_TIME)])
            self._count = np.concatenate([self._count, np.zeros(more, np.int64)])

    def forget(self, flows: I64) -> None:
        """These flows left; their ids will be those of others."""
        self.time[flows[flows < len(self.time)]] = NO_TIME

    def begin(self, flows: int) -> None:
        """A new stretch, with so many flows."""
        self._stretch = None
        if self.on:
            self.fit(flows)

    def fold(self, flow: I64, k: I64, ticks: int, time: I64, prints: U64) -> None:
        """Prints of frames of ticks ``k`` of ``ticks`` that differ from the one before, sorted by flow, each flow's by time."""
        if not len(flow):
            return
        opens = np.empty(len(flow), bool)
        opens[0] = True
        np.not_equal(flow[1:], flow[:-1], out=opens[1:])
        begins = np.flatnonzero(opens)
        ids, counts = flow[begins], np.diff(begins, append=len(flow))
        if ticks > 1:  # else all of it is the memory at the end of its tick
            which = np.cumsum(opens) - 1
            self._stretch = _Stretch(ids, which << 32 | k, _lines(which, begins, (prints, time), self.newest(ids, KEPT)))
        self.enter(flow, (np.arange(len(flow)) + np.repeat(self._count[ids] - begins, counts)) % KEPT, time, prints)

    def places(self, flow: I64) -> I64:
        """Where the next frames of these flows [rows] go, each flow's in order of time: for ``enter``, some at a time."""
        order = np.argsort(flow, kind="stable")
        ids, out = flow[order], np.empty_like(flow)
        begins = begins_of(ids)
        turn = np.arange(len(ids)) - np.repeat(begins, np.diff(begins, append=len(ids)))
        out[order] = (self._count[ids] + turn) % KEPT
        return out

    def enter(self, flow: I64, place: I64, time: I64, prints: U64) -> None:
        """Frames that differ from the one before, each flow's in order of time, at their places."""
        self._print[flow, place], self.time[flow, place] = prints, time  # of two in one place the later stays
        np.add.at(self._count, flow, np.int64(1))

    def newest(self, flows: I64, most: int) -> tuple[U64, I64]:
        """[flows, most] prints and times of the newest frames, newest first."""
        place = (self._count[flows][:, None] - 1 - np.arange(most)) % KEPT + KEPT * flows[:, None]
        return self._print.take(place), self.time.take(place)

    def at(self, ticks: I64, flows: I64) -> tuple[U64, I64]:
        """[cells, 48] prints and times, newest first, of flows at the ends of ticks of the newest stretch."""
        stretch = self._stretch
        if stretch is None:
            return self.newest(flows, KEPT)
        which = np.minimum(np.searchsorted(stretch.ids, flows), len(stretch.ids) - 1)
        begins = np.searchsorted(stretch.cell, which << 32 | ticks, side="right") + KEPT * which
        prints, times = _windows(stretch.lines[0])[begins, ::-1], _windows(stretch.lines[1])[begins, ::-1]
        still = np.flatnonzero(stretch.ids[which] != flows)
        if len(still):
            prints[still], times[still] = self.newest(flows[still], KEPT)
        return prints, times


def _lines(which: I64, begins: I64, rows: tuple[U64, I64], before: tuple[U64, I64]) -> tuple[U64, I64]:
    """Rows of flows, which begin there, each flow's behind its own of [flows, 48] ``before``, newest first."""
    new = np.arange(len(which)) + KEPT * (which + 1)
    old = new[begins, None] - 1 - np.arange(KEPT)
    prints, times = np.empty(len(new) + old.size, np.uint64), np.empty(len(new) + old.size, np.int64)
    for line, added, kept in zip((prints, times), rows, before, strict=True):
        line[new], line[old] = added, kept
    return prints, times


def _windows(line: npt.NDArray[_T]) -> npt.NDArray[_T]:
    """[places, 48] of a line from each place on, nothing copied."""
    return np.ndarray((len(line) - KEPT + 1, KEPT), line.dtype, line, strides=2 * line.strides)


def alike(prints: Prints, ones: I64, others: I64, within: int) -> tuple[I64, I64]:
    """For pairs of flows [P]: how many of one's frames could be compared, and how many the other sent too, ``within`` ns.

    The slower of both is looked for in the faster, over the time that both have frames of.
    """
    (print_a, time_a), (print_b, time_b) = prints.newest(ones, COMPARED), prints.newest(others, COMPARED)
    # What is near either end may have left the other's memory, or not have come yet.
    first = np.maximum(_oldest(time_a), _oldest(time_b))[:, None] + within
    last = np.minimum(time_a[:, :1], time_b[:, :1]) - within
    same = (print_a[:, :, None] == print_b[:, None, :]) & (np.abs(time_a[:, :, None] - time_b[:, None, :]) <= within)
    told = []
    for times, found in ((time_a, same.any(axis=2)), (time_b, same.any(axis=1))):
        inside = (times != NO_TIME) & (times >= first) & (times <= last)
        told.append((inside.sum(axis=1), (inside & found).sum(axis=1)))
    (tested_a, found_a), (tested_b, found_b) = told
    fewer = tested_b < tested_a
    return np.where(fewer, tested_b, tested_a), np.where(fewer, found_b, found_a)


def _oldest(time: I64) -> I64:
    oldest: I64 = np.where(time == NO_TIME, FOR_EVER, time).min(axis=1)
    return oldest
