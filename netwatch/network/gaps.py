"""How far apart the packets of each flow come: a histogram over the newest bucket of 10 s, in integers."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from netwatch.network.keys import grown

I64 = npt.NDArray[np.int64]
I32 = npt.NDArray[np.int32]
F64 = npt.NDArray[np.float64]
Bool = npt.NDArray[np.bool_]

FINE, COARSE = 128, 64
BINS = FINE + COARSE
"""128 of 1 ms, then 64 of 4 ms; the last one holds what is longer, too."""
_WIDE = 4
_AT_ONCE = 8_192
_MS = 1_000_000
MIDDLE: F64 = np.concatenate([np.arange(FINE) + 0.5, FINE + (np.arange(COARSE) + 0.5) * _WIDE])
"""ms in the middle of each bin."""


class Gaps:
    """Of all flows."""

    def __init__(self) -> None:
        self.full: I32 = np.zeros((0, BINS), np.int32)
        """[flows, BINS] of the newest full bucket."""
        self._open: I32 = np.zeros((16, BINS), np.int32)
        self._waiting: list[tuple[I64, I64]] = []
        """Not in ``_open`` yet: many at once cost less."""
        self._rows = 0
        """Of these."""

    def fold(self, flow: I64, gap: I64) -> None:
        """Gaps in ns, each with its flow."""
        self._waiting.append((flow, gap))
        self._rows += len(flow)
        if self._rows >= _AT_ONCE:
            self._settle()

    def _settle(self) -> None:
        if not self._rows:
            return
        flow, gap = (np.concatenate(each) for each in zip(*self._waiting, strict=True))
        self._waiting, self._rows = [], 0
        if int(flow.max()) >= len(self._open):
            self._open = grown(self._open, int(flow.max()) + 1)
        ms = gap // _MS
        place = ms
        if int(ms.max()) >= FINE:
            place = np.where(ms < FINE, ms, np.minimum(FINE + (ms - FINE) // _WIDE, BINS - 1))
        np.add.at(self._open.reshape(-1), flow * BINS + place, np.int32(1))  # of the table's own type: thirty times as fast

    def close(self) -> None:
        """At the end of a tick on the 10 s grid."""
        self._settle()
        self.full, self._open = self._open, np.zeros_like(self._open)

    def forget(self, flows: I64) -> None:
        """These ids are given back."""
        self._settle()
        for table in (self.full, self._open):
            table[flows[flows < len(table)]] = 0


def steady(table: I32, windows: int, width: int) -> F64:
    """[flows] share of the gaps that lie in so many windows of ``width`` fine bins, taken where most are.

    A sender on a frame clock has few lengths of gap, also where it leaves frames out that hold nothing new; jitter has all.
    """
    left = table.astype(np.int64)
    total = left.sum(axis=1)
    inside = np.zeros(len(left), np.int64)
    rows = np.arange(len(left))
    for _ in range(windows):
        sums = np.cumsum(np.pad(left, ((0, 0), (width, 0))), axis=1)
        windowed = sums[:, width:] - sums[:, :-width]
        at = windowed.argmax(axis=1)
        inside += windowed[rows, at]
        for back in range(width):
            left[rows, np.maximum(at - back, 0)] = 0
    part: F64 = inside / np.maximum(total, 1)
    return part


def off_median(row: I32, share: float) -> float:
    """ms by which so large a share of the gaps differs from the median gap at most."""
    total = np.cumsum(row)
    median = float(MIDDLE[int(np.searchsorted(total, total[-1] / 2))])
    away = np.abs(MIDDLE - median)
    order = np.argsort(away, kind="stable")
    inside = np.cumsum(row[order])
    return float(away[order][int(np.searchsorted(inside, total[-1] * share))])


def between(table: I32, low: float, high: float) -> I64:
    """[flows] gaps whose bin begins in [low, high) ms."""
    begin = MIDDLE - np.where(MIDDLE < FINE, 0.5, _WIDE / 2)
    counts: I64 = table[:, (begin >= low) & (begin < high)].sum(axis=1, dtype=np.int64)
    return counts
