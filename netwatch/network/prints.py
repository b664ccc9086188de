"""Fingerprints of each flow's newest changed frames: the same light is recognised in two protocols, or a moment later.

Only kept of flows whose universe another source or the other protocol sends too, from the tick after that on. A print is a sum of
the frame's words with odd factors: it shows likeness, and proves nothing against somebody who wants two frames to look alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netwatch.network.clock import FOR_EVER, LONG_AGO

I64 = npt.NDArray[np.int64]
U64 = npt.NDArray[np.uint64]

KEPT = 48
"""Frames a flow: 1.1 s at 44 Hz."""
COMPARED = 16
"""Of these where two protocols are compared: 0.36 s at 44 Hz."""
OFFSETS = (-1, 0, 1, 2)
"""sACN universe minus Art-Net universe: of these pairs both may carry the same light."""
NO_TIME = LONG_AGO
_FACTORS: U64 = np.random.default_rng(512).integers(0, 1 << 64, 64, np.uint64) | np.uint64(1)


@dataclass(frozen=True, slots=True)
class _Fold:
    """What the newest stretch added, and the memory of its flows from before it, newest first."""

    ids: I64
    begins: I64
    """The first row of each of ``ids``."""
    cell: I64
    """[rows] place of the flow in ``ids`` << 32 | tick of the stretch, rising."""
    rows: tuple[U64, I64]
    """Prints and times."""
    before: tuple[U64, I64]
    """[ids, 48] likewise."""


class Prints:
    """Rings of 48 a flow, as many as the flow table has ids."""

    def __init__(self) -> None:
        self.on = False
        self._print: U64 = np.zeros((0, KEPT), np.uint64)
        self.time: I64 = np.zeros((0, KEPT), np.int64)
        """[flows, 48] ns, in no order; NO_TIME = none."""
        self._count: I64 = np.zeros(0, np.int64)
        """[flows] frames so far: the next one's place, modulo 48."""
        self._fold: _Fold | None = None

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

    def begin(self) -> None:
        """A new stretch."""
        self._fold = None

    def fold(self, flow: I64, k: I64, ticks: int, time: I64, frames: npt.NDArray[np.uint8]) -> None:
        """Frames [rows, 512] of ticks ``k`` of ``ticks`` that differ from the one before, sorted by flow, each flow's by time."""
        if not len(flow):
            return
        self.fit(int(flow[-1]) + 1)
        prints = frames.view(np.uint64) @ _FACTORS
        opens = np.empty(len(flow), bool)
        opens[0] = True
        np.not_equal(flow[1:], flow[:-1], out=opens[1:])
        begins = np.flatnonzero(opens)
        ids, counts = flow[begins], np.diff(begins, append=len(flow))
        if ticks > 1:  # else all of it is the memory at the end of its tick
            self._fold = _Fold(ids, begins, (np.cumsum(opens) - 1 << 32) | k, (prints, time), self.newest(ids, KEPT))
        place = (np.arange(len(flow)) + np.repeat(self._count[ids] - begins, counts)) % KEPT
        self._print[flow, place], self.time[flow, place] = prints, time  # of two in one place the later stays
        self._count[ids] += counts

    def newest(self, flows: I64, most: int) -> tuple[U64, I64]:
        """[flows, most] prints and times of the newest frames, newest first."""
        place = (self._count[flows][:, None] - 1 - np.arange(most)) % KEPT
        return self._print[flows[:, None], place], self.time[flows[:, None], place]

    def at(self, ticks: I64, flows: I64) -> tuple[U64, I64]:
        """[cells, 48] prints and times, newest first, of flows at the ends of ticks of the newest stretch."""
        self.fit(int(flows.max()) + 1)
        now, fold = self.newest(flows, KEPT), self._fold
        if fold is None:
            return now
        place = np.minimum(np.searchsorted(fold.ids, flows), len(fold.ids) - 1)
        known = fold.ids[place] == flows
        ends = np.searchsorted(fold.cell, (place << 32) | ticks, side="right")
        counts = np.where(known, ends - fold.begins[place], 0)
        before = tuple(np.where(known[:, None], kept[place], each) for kept, each in zip(fold.before, now, strict=True))
        return _newest(ends, counts, fold.rows, before)  # type: ignore[arg-type]


def _newest(ends: I64, counts: I64, rows: tuple[U64, I64], before: tuple[U64, I64]) -> tuple[U64, I64]:
    """[cells, 48] the newest first of ``counts`` rows that end before ``ends``, and of the memory from before them."""
    place, counts = np.arange(KEPT), counts[:, None]
    fresh, old = np.maximum(ends[:, None] - 1 - place, 0), np.maximum(place - counts, 0)
    prints, times = (
        np.where(place < counts, new[fresh], np.take_along_axis(kept, old, 1)) for new, kept in zip(rows, before, strict=True)
    )
    return prints, times


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
