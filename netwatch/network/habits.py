"""What boxes give away about their masks: whom they ask for by ARP, and which directed broadcast address they use.

A habit is (segment, MAC, source address, kind, target). No packet carries a mask; these two show what a box takes for its own
subnet, and how often a box asks in vain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import Decoded
from netwatch.network.claims import parts
from netwatch.network.heard import Heard
from netwatch.numbers import Numbers

I64 = npt.NDArray[np.int64]
U64 = npt.NDArray[np.uint64]

ASKS, BROADCASTS = 1, 2
_EVERYBODY_MAC = np.uint64(0xFFFFFFFFFFFF)
_EVERYBODY, _GROUPS = np.uint64(0xFFFFFFFF), np.uint64(0xE0000000)
_MINUTE = 6
"""Grid steps of 10 s."""


@dataclass(frozen=True, slots=True)
class Habit:
    """One habit, with figures that count whole steps of the 10 s grid only, so that it doesn't matter when they are read."""

    segment: int
    mac: int
    address: int
    kind: int
    target: int
    times: int
    """Since the beginning."""
    lately: int
    """In the last minute."""
    first: int
    last: int
    """ns."""
    numbers: tuple[int, int]
    """Packets: first and newest."""


@dataclass(frozen=True, slots=True, eq=False)
class Held:
    """Habits in columns; ``id`` is for ``Habits.get``."""

    id: I64
    segment: I64
    mac: I64
    address: I64
    target: I64


class Habits(Heard):
    """Evicted on the 10 s grid only, for habits come in long stretches too."""

    def __init__(self, numbers: Numbers) -> None:
        super().__init__("habits", 3, int(numbers.cap_habits))
        self._steps: list[tuple[I64, I64, I64]] = []
        """(count, last, last_n) at the newest grid steps, newest at the end."""

    @staticmethod
    def rows(decoded: Decoded) -> tuple[I64, tuple[U64, ...]]:
        """(row, key columns) of all habits that a batch shows, by row."""
        frames, arps = decoded.frames, decoded.arps
        directed = decoded.rows(lambda frames: frames.to_mac == _EVERYBODY_MAC)
        if not len(directed) and not len(arps.row):
            return directed, tuple(np.zeros(0, np.uint64) for _ in range(3))
        dst, src = frames.dst[directed], frames.src[directed]
        told = (dst != 0) & (dst < _GROUPS) & (src != 0) & (frames.mac[directed] != 0)
        directed, dst, src = directed[told], dst[told].astype(np.uint64), src[told].astype(np.uint64)
        asking = np.flatnonzero((arps.op == 1) & (arps.spa != 0) & (arps.spa != arps.tpa) & (arps.tpa != 0) & (arps.sha != 0))
        row, mac = arps.row[asking].astype(np.int64), arps.sha[asking].astype(np.uint64)
        address, target = arps.spa[asking].astype(np.uint64), arps.tpa[asking].astype(np.uint64)
        who = (mac << np.uint64(16)) | np.uint64(ASKS)
        if len(directed):
            row = np.concatenate([directed, row])
            order = np.argsort(row, kind="stable")
            row, who = row[order], np.concatenate([(frames.mac[directed] << np.uint64(16)) | np.uint64(BROADCASTS), who])[order]
            address, target = np.concatenate([src, address])[order], np.concatenate([dst, target])[order]
        place = (frames.segment[row].astype(np.uint64) << np.uint64(32)) | address
        return row, (who, place, target)

    def fold(self, habits: tuple[I64, tuple[U64, ...]], time: I64, tick: I64, first: int, lo: int, hi: int) -> None:
        """Those of ``rows`` that fall into rows lo..hi of a batch whose first packet has number ``first``."""
        a, b = (int(place) for place in np.searchsorted(habits[0], (lo, hi)))
        if a == b:
            return
        row = habits[0][a:b]
        self.note([column[a:b] for column in habits[1]], first + row, time[row], tick[row])

    def admit(self, columns: Sequence[U64], n: I64, time: I64) -> tuple[I64, I64]:
        """New habits; who had their ids before stands in no step any more."""
        ids, rows = super().admit(columns, n, time)
        new = ids[rows]
        for count, _, _ in self._steps:
            count[new[new < len(count)]] = 0
        return ids, rows

    def close_bucket(self) -> None:
        """A step of the 10 s grid ends."""
        size = self.table.size
        self._steps.append((self.count[:size].copy(), self.last[:size].copy(), self.last_n[:size].copy()))
        del self._steps[: -_MINUTE - 1]

    def held(self, kind: int, *, times: int = 1, lately: int = 0) -> Held:
        """Habits of a kind that were seen so often in all, and in the last minute; by first appearance."""
        size = self.table.size
        keys = self.table.keys[:size]
        mine = np.flatnonzero(self.table.used[:size] & ((keys[:, 0] & np.uint64(0xFFFF)) == kind))
        if times > 1 or lately:
            count = self._steps[-1][0] if self._steps else np.zeros(0, np.int64)
            before = self._steps[0][0] if len(self._steps) > _MINUTE else np.zeros(0, np.int64)
            count, before = _sized(count, size), _sized(before, size)
            mine = mine[(count[mine] >= times) & (count[mine] - before[mine] >= lately)]
        mine = mine[np.argsort(self.table.born[mine], kind="stable")]
        segment, mac, address = parts(keys[mine, 0], keys[mine, 1])
        return Held(mine, segment, mac, address, keys[mine, 2].astype(np.int64))

    def get(self, habit: int) -> Habit:
        """One habit by id."""
        mac, place, target = (int(part) for part in self.table.keys[habit])
        times = lately = 0
        last, last_n = int(self.first[habit]), int(self.first_n[habit])
        if self._steps and habit < len(self._steps[-1][0]) and self._steps[-1][0][habit]:
            times, last, last_n = (int(part[habit]) for part in self._steps[-1])
            before = self._steps[0][0] if len(self._steps) > _MINUTE else None
            lately = times - (int(before[habit]) if before is not None and habit < len(before) else 0)
        return Habit(
            place >> 32, mac >> 16, place & 0xFFFFFFFF, mac & 0xFFFF, target, max(times, 1), lately,
            int(self.first[habit]), last, (int(self.first_n[habit]), last_n),
        )


def _sized(array: I64, size: int) -> I64:
    """With ``size`` entries, new ones zero."""
    return array[:size] if len(array) >= size else np.append(array, np.zeros(size - len(array), np.int64))
