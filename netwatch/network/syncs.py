"""Who sends synchronization packets, for which address (E1.31-2018 6.3)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import E131, Decoded
from netwatch.network.capped import Capped

I64 = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, order=True)
class SyncKey:
    """One source that synchronizes one address."""

    segment: int
    address: int
    id_hi: int
    id_lo: int


@dataclass(slots=True)
class Sync:
    """What was heard of it."""

    mac: int
    src: int
    dst: int
    first: int
    """ns."""
    last: int
    first_n: int
    last_n: int
    count: int = 0


class Syncs:
    """All senders of synchronization, by first appearance."""

    def __init__(self, cap: int) -> None:
        self.table: Capped[SyncKey, Sync] = Capped("synchronization", cap)

    @staticmethod
    def _groups(decoded: Decoded, lo: int, hi: int) -> list[tuple[SyncKey, I64]]:
        """Rows lo..hi of the batch that hold synchronization, by key, in order of first appearance."""
        syncs = decoded.syncs
        mine = np.flatnonzero((syncs.protocol == E131) & (syncs.row >= lo) & (syncs.row < hi))
        row = syncs.row[mine].astype(np.int64)
        if not len(row):
            return []
        columns = (decoded.frames.segment[row], syncs.address[mine], syncs.id_hi[mine], syncs.id_lo[mine])
        keys = np.stack([column.astype(np.uint64) for column in columns], axis=1)
        if (keys == keys[0]).all():
            return [(SyncKey(*keys[0].tolist()), row)]
        _, first, which = np.unique(keys, axis=0, return_index=True, return_inverse=True)
        which = which.reshape(-1)
        order = sorted(range(len(first)), key=first.tolist().__getitem__)
        return [(SyncKey(*keys[first[each]].tolist()), row[which == each]) for each in order]

    def news(self, decoded: Decoded) -> I64:
        """Rows of senders that are not known yet."""
        if not len(decoded.syncs.row):
            return np.zeros(0, np.int64)
        fresh = [rows for key, rows in self._groups(decoded, 0, len(decoded.frames.kind)) if self.table.get(key) is None]
        return np.concatenate(fresh) if fresh else np.zeros(0, np.int64)

    def fold(self, decoded: Decoded, lo: int, hi: int, time: I64, first: int) -> bool:
        """What rows lo..hi of a batch hold that begins with n ``first``; True when a sender is new."""
        held, frames = self.table.held, decoded.frames
        heard = sorted((row, key) for key, rows in self._groups(decoded, lo, hi) for row in rows.tolist())
        for row, key in heard:
            when, n = int(time[row]), first + row
            new = partial(Sync, int(frames.mac[row]), int(frames.src[row]), int(frames.dst[row]), when, when, n, n)
            entry = self.table.touch(key, when, new)
            if entry is not None:
                entry.last, entry.last_n, entry.count = when, n, entry.count + 1
        return self.table.held != held

    def of(self, segment: int, address: int) -> list[tuple[SyncKey, Sync]]:
        """Who ever synchronized an address, by first appearance."""
        return [(key, sync) for key, sync in self.table.items() if (key.segment, key.address) == (segment, address)]
