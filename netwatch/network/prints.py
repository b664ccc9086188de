"""Fingerprints of each flow's newest changed frames, so that the same light can be recognised in two protocols.

Only kept once both protocols were heard, from the tick after that on. A print is a sum of the frame's words with odd
factors: it shows likeness, and proves nothing against somebody who wants two frames to look alike.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

I64 = npt.NDArray[np.int64]
U64 = npt.NDArray[np.uint64]

KEPT = 16
"""Frames a flow: 0.36 s at 44 Hz."""
NO_TIME = -(1 << 62)
_FACTORS: U64 = np.random.default_rng(512).integers(0, 1 << 64, 64, np.uint64) | np.uint64(1)


class Prints:
    """[flows, 16] arrays, newest first, as long as the flow table has ids."""

    def __init__(self) -> None:
        self.on = False
        self.print: U64 = np.zeros((0, KEPT), np.uint64)
        self.time: I64 = np.zeros((0, KEPT), np.int64)
        """ns; NO_TIME = none."""

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

    def fold(self, flow: I64, time: I64, frames: npt.NDArray[np.uint8]) -> None:
        """Frames [rows, 512] that differ from the one before, sorted by flow, each flow's by time."""
        if not len(flow):
            return
        self.fit(int(flow[-1]) + 1)
        prints = frames.view(np.uint64) @ _FACTORS
        begins = np.flatnonzero(np.append(True, flow[1:] != flow[:-1]))
        counts = np.diff(np.append(begins, len(flow)))[:, None]
        ids, place = flow[begins], np.arange(KEPT)
        fresh = np.maximum((begins[:, None] + counts - 1) - place, 0)
        old = np.maximum(place - counts, 0)
        for kept, new in ((self.print, prints), (self.time, time)):
            kept[ids] = np.where(place < counts, new[fresh], np.take_along_axis(kept[ids], old, 1))


def alike(prints: Prints, ones: I64, others: I64, within: int) -> tuple[I64, I64]:
    """For pairs of flows [P]: how many of one's frames could be compared, and how many the other sent too, ``within`` ns.

    The slower of both is looked for in the faster, over the time that both have frames of.
    """
    print_a, time_a = prints.print[ones], prints.time[ones]
    print_b, time_b = prints.print[others], prints.time[others]
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
    oldest: I64 = np.where(time == NO_TIME, np.int64(1 << 62), time).min(axis=1)
    return oldest
