"""Fingerprints of each flow's newest changed frames: the same light is recognised in two protocols, or a moment later.

Only kept once both protocols, or two sources of one universe, were heard, from the tick after that on. A print is a sum of the
frame's words with odd factors: it shows likeness, and proves nothing against somebody who wants two frames to look alike.
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
NO_TIME = LONG_AGO
_FACTORS: U64 = np.random.default_rng(512).integers(0, 1 << 64, 64, np.uint64) | np.uint64(1)


@dataclass(frozen=True, slots=True)
class _Fold:
    """What the newest stretch added, and the memory of its flows from before it."""

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
    """[flows, 48] arrays, newest first, as long as the flow table has ids."""

    def __init__(self) -> None:
        self.on = False
        self.print: U64 = np.zeros((0, KEPT), np.uint64)
        self.time: I64 = np.zeros((0, KEPT), np.int64)
        """ns; NO_TIME = none."""
        self._fold: _Fold | None = None

    def fit(self, flows: int) -> None:
        """Have room for so many flows."""
        more = flows - len(self.print)
        if more > 0:
            more = max(more, len(self.print))
            self.print = np.concatenate([self.print, np.zeros((more, KEPT), np.uint64)])
            self.time = np.concatenate([self.time, np.full((more, KEPT), NO_TIME)])

    def forget(self, flows: I64) -> None:
        """These flows left; their ids will be those of others."""
        self.time[flows[flows < len(self.time)]] = NO_TIME

    def begin(self) -> None:
        """A new stretch."""
        self._fold = None

    def fold(self, flow: I64, k: I64, time: I64, frames: npt.NDArray[np.uint8]) -> None:
        """Frames [rows, 512] of ticks ``k`` that differ from the one before, sorted by flow, each flow's by time."""
        if not len(flow):
            return
        self.fit(int(flow[-1]) + 1)
        prints = frames.view(np.uint64) @ _FACTORS
        opens = np.append(True, flow[1:] != flow[:-1])
        begins = np.flatnonzero(opens)
        ids, counts = flow[begins], np.diff(np.append(begins, len(flow)))
        before = self.print[ids], self.time[ids]
        self._fold = _Fold(ids, begins, (np.cumsum(opens) - 1 << 32) | k, (prints, time), before)
        self.print[ids], self.time[ids] = _newest(begins + counts, counts, (prints, time), before)

    def at(self, ticks: I64, flows: I64) -> tuple[U64, I64]:
        """[cells, 48] prints and times, newest first, of flows at the ends of ticks of the newest stretch."""
        self.fit(int(flows.max()) + 1)
        fold = self._fold
        if fold is None:
            return self.print[flows], self.time[flows]
        place = np.minimum(np.searchsorted(fold.ids, flows), len(fold.ids) - 1)
        known = fold.ids[place] == flows
        ends = np.searchsorted(fold.cell, (place << 32) | ticks, side="right")
        counts = np.where(known, ends - fold.begins[place], 0)
        before = tuple(np.where(known[:, None], kept[place], now[flows])
                       for kept, now in zip(fold.before, (self.print, self.time), strict=True))
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
    print_a, time_a = prints.print[ones, :COMPARED], prints.time[ones, :COMPARED]
    print_b, time_b = prints.print[others, :COMPARED], prints.time[others, :COMPARED]
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
