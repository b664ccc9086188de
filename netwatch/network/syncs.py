"""Who sends synchronization: E1.31 packets by address (E1.31-2018 6.3), and ArtSync (Art-Net 4 p.64)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import ARTNET, E131, Decoded
from netwatch.decode.text import address_text
from netwatch.network.capped import Capped
from netwatch.network.clock import NS
from netwatch.numbers import Numbers

I64 = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, order=True)
class SyncKey:
    """One source that synchronizes one address."""

    segment: int
    protocol: int
    address: int
    """0 in Art-Net."""
    id_hi: int
    id_lo: int
    """CID; in Art-Net the sender's address and 0."""


@dataclass(slots=True)
class Sync:
    """What was heard of it."""

    segment: int
    mac: int
    src: int
    dst: int
    run: int
    """ns: since when without a break."""
    last: int
    first_n: int
    """Of this run."""
    last_n: int
    count: int = 0
    """In this run."""

    @property
    def address(self) -> str:
        """Of its sender."""
        return address_text(self.src)

    def heard(self, time: I64, n: I64, break_ns: int) -> None:
        """Packets of it, in order; longer than ``break_ns`` without one, and a new run begins."""
        gaps = np.flatnonzero(np.diff(time, prepend=self.last) > break_ns)
        begins = int(gaps[-1]) if len(gaps) else 0
        if len(gaps):
            self.run, self.first_n, self.count = int(time[begins]), int(n[begins]), 0
        self.last, self.last_n = int(time[-1]), int(n[-1])
        self.count += len(time) - begins


class Syncs:
    """All senders of synchronization, by first appearance."""

    def __init__(self, numbers: Numbers) -> None:
        self.table: Capped[SyncKey, Sync] = Capped("synchronization", int(numbers.cap_syncs))
        self._e131_break, self._artnet_break = int(numbers.sync_lost_s * NS), int(numbers.sync_hold_s * NS)

    @staticmethod
    def _groups(decoded: Decoded, lo: int, hi: int) -> list[tuple[SyncKey, I64]]:
        """Rows lo..hi of the batch that hold synchronization, by key, in order of first appearance."""
        syncs = decoded.syncs
        mine = slice(*(int(place) for place in np.searchsorted(syncs.row, (lo, hi))))
        row = syncs.row[mine].astype(np.int64)
        if not len(row):
            return []
        columns = (
            decoded.frames.segment[row], syncs.protocol[mine], syncs.address[mine], syncs.id_hi[mine], syncs.id_lo[mine],
        )  # fmt: skip
        keys = np.stack([column.astype(np.uint64) for column in columns], axis=1)
        if (keys == keys[0]).all():
            return [(SyncKey(*keys[0].tolist()), row)]
        _, first, which, counts = np.unique(keys, axis=0, return_index=True, return_inverse=True, return_counts=True)
        rows = np.split(row[np.argsort(which.reshape(-1), kind="stable")], np.cumsum(counts)[:-1])
        return [(SyncKey(*keys[first[each]].tolist()), rows[each]) for each in np.argsort(first).tolist()]

    def news(self, decoded: Decoded) -> I64:
        """Rows of senders that are not known yet."""
        if not len(decoded.syncs.row):
            return np.zeros(0, np.int64)
        fresh = [rows for key, rows in self._groups(decoded, 0, len(decoded.frames.kind)) if self.table.get(key) is None]
        return np.concatenate(fresh) if fresh else np.zeros(0, np.int64)

    def fold(self, decoded: Decoded, lo: int, hi: int, time: I64, first: int) -> bool:
        """What rows lo..hi of a batch hold that begins with n ``first``; True when a sender is new."""
        held = self.table.held
        for key, row in self._groups(decoded, lo, hi):
            entry = self._touch(decoded, key, row, time, first)
            if entry is not None:
                entry.heard(time[row], first + row, self._e131_break if key.protocol == E131 else self._artnet_break)
        return self.table.held != held

    def _touch(self, decoded: Decoded, key: SyncKey, row: I64, time: I64, first: int) -> Sync | None:
        """The entry, seen in each of the seconds of ``row``."""
        frames, at = decoded.frames, int(row[0])
        when, n = int(time[at]), first + at
        new = partial(Sync, key.segment, int(frames.mac[at]), int(frames.src[at]), int(frames.dst[at]), when, when, n, n)
        entry = self.table.touch(key, when, new)
        if entry is None:
            self.table.refused += len(row) - 1
            return None
        for later in np.unique(time[row] // NS)[1:].tolist():
            self.table.touch(key, later * NS, new)
        self.table.touch(key, int(time[row[-1]]), new)
        return entry

    def of(self, segment: int, address: int) -> list[tuple[SyncKey, Sync]]:
        """Who ever synchronized an E1.31 address, by first appearance."""
        here = (segment, E131, address)
        return [(key, sync) for key, sync in self.table.items() if (key.segment, key.protocol, key.address) == here]

    def artnet(self) -> dict[int, list[Sync]]:
        """Who ever sent ArtSync, by segment and first appearance."""
        out: dict[int, list[Sync]] = {}
        for key, sync in self.table.items():
            if key.protocol == ARTNET:
                out.setdefault(key.segment, []).append(sync)
        return out
