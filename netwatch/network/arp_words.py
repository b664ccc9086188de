"""How often each box speaks by ARP: the one word that a box says by itself, whatever runs on it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import Decoded
from netwatch.network.keys import KeyTable, grown
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


class ArpWords:
    """By (segment, MAC). Evicted on the 10 s grid only, for words come in long stretches too."""

    def __init__(self, numbers: Numbers) -> None:
        self.boxes = KeyTable("boxes that speak by ARP", 2, int(numbers.cap_hosts))
        self._first = np.zeros(16, np.int64)
        self._last = np.zeros(16, np.int64)
        self._count = np.zeros(16, np.int64)
        self._n = np.zeros(16, np.int64)

    def fold(self, decoded: Decoded, time: I64, tick: I64, first: int, lo: int, hi: int) -> None:
        """The ARP in rows lo..hi of a batch whose first packet has number ``first``."""
        arps = decoded.arps
        a, b = (int(place) for place in np.searchsorted(arps.row, (lo, hi)))
        if a == b:
            return
        rows = arps.row[a:b].astype(np.int64)
        keys = decoded.frames.segment[rows].astype(np.uint64), arps.sha[a:b].astype(np.uint64)
        when, n, ids = time[rows], first + rows, self.boxes.find(keys)
        unknown = np.flatnonzero(ids < 0)
        if len(unknown):
            ids[unknown], new = self.boxes.admit_all([key[unknown] for key in keys], n[unknown], when[unknown])
            self._begin(ids[unknown[new]], when[unknown[new]])
        held = ids >= 0
        self._words(ids[held], when[held], n[held], tick[rows[held]])

    def _begin(self, new: I64, when: I64) -> None:
        while self.boxes.size > len(self._first):
            self._first, self._last, self._count, self._n = map(grown, (self._first, self._last, self._count, self._n))
        self._first[new], self._count[new] = when, 0

    def _words(self, ids: I64, when: I64, n: I64, tick: I64) -> None:
        self._last[ids], self._n[ids] = when, n
        np.add.at(self._count, ids, 1)
        self.boxes.last_tick[ids] = tick
        fresh = ~self.boxes.settled[ids]
        for each in np.unique(tick[fresh]).tolist():
            self.boxes.seen(np.unique(ids[fresh & (tick == each)]), each)

    def evict(self, tick: int, time: int) -> None:
        """At the end of a tick on the grid."""
        gone = self.boxes.overdue(tick)
        if len(gone):
            self.boxes.free(gone, time)

    def get(self, segment: int, mac: int) -> Word | None:
        """The words of a box, None = it never spoke."""
        box = int(self.boxes.find((np.array([segment], np.uint64), np.array([mac], np.uint64)))[0])
        if box < 0:
            return None
        return Word(*(int(column[box]) for column in (self._first, self._last, self._count, self._n)))

    def heard(self, segment: int, since: int, but: Collection[int]) -> bool:
        """Did a box of a segment speak at ``since`` or later, these MACs left out?"""
        size = self.boxes.size
        here = self.boxes.used[:size] & (self.boxes.keys[:size, 0] == segment) & (self._last[:size] >= since)
        return any(mac not in but for mac in self.boxes.keys[:size, 1][here].tolist())
