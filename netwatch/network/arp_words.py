"""How often each box speaks by ARP: the one word that a box says by itself, whatever runs on it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import Decoded
from netwatch.network.heard import Heard
from netwatch.numbers import Numbers

I64 = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Word:
    """All words of a box; times in ns."""

    first: int
    last: int
    count: int
    n: int
    """Packet number of the newest."""


class ArpWords(Heard):
    """By (segment, MAC). Evicted on the 10 s grid only, for words come in long stretches too."""

    def __init__(self, numbers: Numbers) -> None:
        super().__init__("boxes that speak by ARP", 2, int(numbers.cap_hosts))

    def fold(self, decoded: Decoded, time: I64, tick: I64, first: int, lo: int, hi: int) -> None:
        """The ARP in rows lo..hi of a batch whose first packet has number ``first``."""
        arps = decoded.arps
        a, b = (int(place) for place in np.searchsorted(arps.row, (lo, hi)))
        if a == b:
            return
        rows = arps.row[a:b].astype(np.int64)
        keys = decoded.frames.segment[rows].astype(np.uint64), arps.sha[a:b].astype(np.uint64)
        self.note(keys, first + rows, time[rows], tick[rows])

    def get(self, segment: int, mac: int) -> Word | None:
        """The words of a box, None = it never spoke."""
        box = int(self.table.find((np.array([segment], np.uint64), np.array([mac], np.uint64)))[0])
        if box < 0:
            return None
        return Word(*(int(column[box]) for column in (self.first, self.last, self.count, self.last_n)))

    def heard(self, segment: int, since: int, but: Collection[int]) -> bool:
        """Did a box of a segment speak at ``since`` or later, these MACs left out?"""
        size = self.table.size
        here = self.table.used[:size] & (self.table.keys[:size, 0] == segment) & (self.last[:size] >= since)
        return any(mac not in but for mac in self.table.keys[:size, 1][here].tolist())
