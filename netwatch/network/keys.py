"""Keys in columns to small ids: exact, capped, and by first appearance.

A hash may find a key; equality of the whole key decides. Entries start as newcomers and settle on being seen in three
different seconds. At tick end the oldest newcomers beyond a fifth of the table leave, so a flood churns newcomers and
never pushes out who is settled; those leave by age only, and only when the table fills (contracts 8).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from netwatch.network.clock import grid

U64: TypeAlias = npt.NDArray[np.uint64]
Ids: TypeAlias = npt.NDArray[np.int64]

SETTLED_SECONDS = 3
AGE_TICKS = 86_400 * 4
"""A day without a sign."""
_MIX = np.array(
    [0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9, 0xD6E8FEB86659FD93, 0xA0761D6478BD642F], np.uint64
)
_FOLD = np.uint64(29)


class KeyTable:
    """Maps rows of ``width`` uint64 columns to ids 0..``size`` - 1."""

    def __init__(self, name: str, width: int, cap: int) -> None:
        self.name, self.width, self.cap = name, width, cap
        self.size = 0
        """Ids given so far, freed ones included; arrays beside this table have at least so many entries."""
        self.held = self.refused = self.evicted = 0
        self.first_hit: int | None = None
        self.version = 0
        """Rises when keys come or go."""
        self.keys: U64 = np.zeros((16, width), np.uint64)
        self.used = np.zeros(16, bool)
        self.settled = np.zeros(16, bool)
        self.born = np.zeros(16, np.int64)
        """Packet number of the first sight."""
        self.seconds = np.zeros(16, np.int64)
        self.last_second = np.full(16, -1, np.int64)
        self.last_tick = np.full(16, -1, np.int64)
        self._exact: dict[bytes, int] = {}
        self._free: list[int] = []
        self._hashes: U64 = np.zeros(0, np.uint64)
        self._hash_ids: Ids = np.zeros(0, np.int64)
        self._stale = False

    def hash(self, columns: Sequence[U64]) -> U64:
        """uint64[rows]."""
        mixed: U64 = columns[0] * _MIX[0]
        for column, factor in zip(columns[1:], _MIX[1:], strict=False):
            mixed = mixed + column * factor
        mixed ^= mixed >> _FOLD
        return mixed

    def find(self, columns: Sequence[U64]) -> Ids:
        """Ids of the rows, -1 where the key is not held."""
        hashes = self.hash(columns)
        if self._stale:
            self._index()
        if not len(self._hashes):
            return np.full(len(hashes), -1, np.int64)
        place = np.searchsorted(self._hashes, hashes)
        place[place == len(self._hashes)] = 0
        ids = self._hash_ids[place]
        known = self._hashes[place] == hashes
        same = known.copy()
        for index in range(self.width):
            same &= self.keys[ids, index] == columns[index]
        if not same.all():
            ids[~same] = -1
            # A second key with the same hash: the whole key decides.
            for row in np.flatnonzero(known & ~same).tolist():
                ids[row] = self._exact.get(self._pack(columns, row), -1)
        return ids

    def admit(self, columns: Sequence[U64], row: int, n: int, time: int) -> int:
        """The id of a key, a new one where it was not held; -1 when the table is full."""
        key = np.array([column[row] for column in columns], np.uint64)
        packed = key.tobytes()
        known = self._exact.get(packed)
        if known is not None:
            return known
        if self.held >= self.cap:
            self.refused += 1
            self.first_hit = time if self.first_hit is None else self.first_hit
            return -1
        new = self._free.pop() if self._free else self.size
        if new == self.size:
            self.size += 1
            if new == len(self.used):
                self._grow()
        self.keys[new] = key
        self.used[new], self.settled[new], self.born[new] = True, False, n
        self.seconds[new], self.last_second[new], self.last_tick[new] = 0, -1, -1
        self._exact[packed] = new
        self.held += 1
        self.version += 1
        self._stale = True
        return new

    def seen(self, ids: Ids, tick: int, ticks_a_second: int = 4) -> None:
        """Note that these ids were seen in this tick (each id once)."""
        second = tick // ticks_a_second
        self.last_tick[ids] = tick
        waiting = ids[~self.settled[ids]]
        if len(waiting):
            fresh = waiting[self.last_second[waiting] != second]
            self.last_second[fresh] = second
            self.seconds[fresh] += 1
            self.settled[fresh] = self.seconds[fresh] >= SETTLED_SECONDS

    def overdue(self, tick: int) -> Ids:
        """Ids that leave at this tick's end; by age only on the 10 s grid, where stretches end however the input was cut."""
        leaving = np.zeros(0, np.int64)
        if self.held - int(np.count_nonzero(self.settled[: self.size])) > self.cap // 5:
            newcomers = np.flatnonzero(self.used[: self.size] & ~self.settled[: self.size])
            newcomers = newcomers[np.argsort(self.born[newcomers], kind="stable")]
            leaving = newcomers[: len(newcomers) - self.cap // 5]
        if self.held > self.cap // 2 and grid(tick):
            old = np.flatnonzero(self.settled[: self.size] & (self.last_tick[: self.size] < tick - AGE_TICKS))
            leaving = np.union1d(leaving, old)
        return leaving

    def free(self, ids: Ids, time: int) -> None:
        """Give ids back; they are reused from the next tick on."""
        for gone in ids.tolist():
            del self._exact[self.keys[gone].tobytes()]
            self.used[gone] = self.settled[gone] = False
            self._free.append(gone)
        self.held -= len(ids)
        self.evicted += len(ids)
        self.version += 1
        self._stale = True
        if len(ids) and self.first_hit is None:
            self.first_hit = time

    def _pack(self, columns: Sequence[U64], row: int) -> bytes:
        return np.array([column[row] for column in columns], np.uint64).tobytes()

    def _grow(self) -> None:
        self.keys = np.concatenate([self.keys, np.zeros_like(self.keys)])
        for name in ("used", "settled", "born", "seconds", "last_second", "last_tick"):
            setattr(self, name, grown(getattr(self, name)))

    def _index(self) -> None:
        ids = np.flatnonzero(self.used[: self.size])
        hashes = self.hash([self.keys[ids, index] for index in range(self.width)])
        order = np.argsort(hashes, kind="stable")
        self._hashes, self._hash_ids, self._stale = hashes[order], ids[order], False


def grown(array: npt.NDArray, size: int | None = None) -> npt.NDArray:  # type: ignore[type-arg]
    """The array with at least ``size`` entries (twice as many by default), new ones zero."""
    size = max(2 * len(array), size or 0)
    out = np.zeros((size, *array.shape[1:]), array.dtype)
    out[: len(array)] = array
    return out
