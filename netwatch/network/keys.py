"""Keys in columns to small ids: exact, capped, and by first appearance.

A hash may find a key; equality of the whole key decides. Entries start as newcomers and settle on being seen in three
different seconds. At tick end the oldest newcomers beyond a fifth of the table leave, so a flood churns newcomers and
never pushes out who is settled; those leave by age only, and only when the table fills (contracts 8).
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from netwatch.network.clock import NS, TICK, grid
from netwatch.network.order import begins_of

U64: TypeAlias = npt.NDArray[np.uint64]
Ids: TypeAlias = npt.NDArray[np.int64]

SETTLED_SECONDS = 3
_SECOND = NS // TICK
"""Ticks."""
AGE_TICKS = 86_400 * _SECOND
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
        self._layout = f"={width}Q"
        self._free: list[int] = []
        self._hashes: U64 = np.zeros(0, np.uint64)
        """Rising, of the keys held; those that came since it was last looked into wait in ``_came``."""
        self._hash_ids: Ids = np.zeros(0, np.int64)
        self._came: list[int] = []

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
        self._index()
        if not len(self._hashes):
            return np.full(len(hashes), -1, np.int64)
        place = self._hashes.searchsorted(hashes)
        ids: Ids = self._hash_ids.take(place, mode="clip")
        same = self.keys[:, 0].take(ids) == columns[0]
        for index in range(1, self.width):
            same &= self.keys[:, index].take(ids) == columns[index]
        if not same.all():
            other = np.flatnonzero(~same)
            ids[other] = -1
            # A second key with the same hash: the whole key decides.
            for row in other[self._hashes.take(place[other], mode="clip") == hashes[other]].tolist():
                ids[row] = self._exact.get(self._pack(columns, row), -1)
        return ids

    def get(self, *key: int) -> int:
        """The id of one key, -1 where it is not held."""
        return self._exact.get(struct.pack(self._layout, *key), -1)

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
        [new] = self._take(1)
        self._exact[packed] = new
        self._enter(new, key, n)
        return new

    def admit_all(self, columns: Sequence[U64], n: Ids, time: Ids) -> tuple[Ids, Ids]:
        """``admit`` for all rows, in order: (id of each row, the first row of each new key)."""
        keys = np.stack(columns, axis=1)
        packed = self._packed(keys)
        fresh = [key for key in dict.fromkeys(packed) if key not in self._exact][: max(0, self.cap - self.held)]
        if fresh:
            self._exact.update(zip(fresh, self._take(len(fresh)), strict=True))
        ids = np.array([self._exact.get(key, -1) for key in packed], np.int64)
        refused = np.flatnonzero(ids < 0)
        if len(refused):
            self.refused += len(refused)
            self.first_hit = int(time[refused[0]]) if self.first_hit is None else self.first_hit
        first = dict(zip(reversed(packed), range(len(packed) - 1, -1, -1), strict=True))
        rows = np.array([first[key] for key in fresh], np.int64)
        if fresh:
            self._enter(ids[rows], keys[rows], n[rows])
        return ids, rows

    def _take(self, count: int) -> list[int]:
        """So many ids for new keys: those given back last come first."""
        again = self._free[: -count - 1 : -1]
        del self._free[len(self._free) - len(again) :]
        new = list(range(self.size, self.size + count - len(again)))
        self.size += len(new)
        while self.size > len(self.used):
            self._grow()
        self._came += again + new
        return again + new

    def _enter(self, ids: Ids | int, keys: U64, n: Ids | int) -> None:
        """New keys get their ids."""
        self.keys[ids] = keys
        self.used[ids], self.settled[ids], self.born[ids] = True, False, n
        self.seconds[ids], self.last_second[ids], self.last_tick[ids] = 0, -1, -1
        self.held += 1 if isinstance(ids, int) else len(ids)
        self.version += 1

    def touch(self, ids: Ids, tick: Ids) -> Ids:
        """``ids`` [rows] were seen in ticks [rows], which rise for each id; gives the first row of each that settled, by id."""
        self.last_tick[ids] = tick  # rising: an id's last one stays
        settled = self.settled[ids]
        if np.count_nonzero(settled) == len(ids):
            return np.zeros(0, np.int64)
        rows = np.flatnonzero(~settled)
        rows = rows[np.argsort(ids[rows], kind="stable")]
        fresh, second = ids[rows], tick[rows] // _SECOND
        begins = begins_of(fresh)
        before = np.append(-1, second[:-1])
        before[begins] = self.last_second[fresh[begins]]
        np.add.at(self.seconds, fresh[second != before], 1)
        self.last_second[fresh] = second
        done = begins[self.seconds[fresh[begins]] >= SETTLED_SECONDS]
        self.settled[fresh[done]] = True
        first: Ids = rows[done]
        return first

    def overdue(self, tick: int) -> Ids:
        """Ids that leave at this tick's end; by age only on the 10 s grid, where stretches end however the input was cut."""
        leaving = np.zeros(0, np.int64)
        if self.held <= self.cap // 5:
            return leaving
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
        self._index()
        for key in self._packed(self.keys[ids]):
            del self._exact[key]
        self.used[ids] = self.settled[ids] = False
        self._free += ids.tolist()
        stays = self.used[self._hash_ids]
        self._hashes, self._hash_ids = self._hashes[stays], self._hash_ids[stays]
        self.held -= len(ids)
        self.evicted += len(ids)
        self.version += 1
        if len(ids) and self.first_hit is None:
            self.first_hit = time

    def _pack(self, columns: Sequence[U64], row: int) -> bytes:
        return np.array([column[row] for column in columns], np.uint64).tobytes()

    def _grow(self) -> None:
        self.keys = np.concatenate([self.keys, np.zeros_like(self.keys)])
        for name in ("used", "settled", "born", "seconds", "last_second", "last_tick"):
            setattr(self, name, grown(getattr(self, name)))

    def _packed(self, keys: U64) -> list[bytes]:
        """Of keys [rows, width]."""
        packed: list[bytes] = np.ascontiguousarray(keys).view(f"V{8 * self.width}")[:, 0].tolist()
        return packed

    def _index(self) -> None:
        """Sort in what came."""
        if not self._came:
            return
        ids = np.array(self._came, np.int64)
        hashes = self.hash([self.keys[ids, index] for index in range(self.width)])
        order = np.argsort(hashes)
        place = np.searchsorted(self._hashes, hashes[order])
        self._hashes = np.insert(self._hashes, place, hashes[order])
        self._hash_ids = np.insert(self._hash_ids, place, ids[order])
        self._came = []


def grown(array: npt.NDArray, size: int | None = None) -> npt.NDArray:  # type: ignore[type-arg]
    """The array with at least ``size`` entries (twice as many by default), new ones zero."""
    size = max(2 * len(array), size or 0)
    out = np.zeros((size, *array.shape[1:]), array.dtype)
    out[: len(array)] = array
    return out
