"""The rare packets of a tick as records: as many as the caps allow, the rest counted; and whom a record is about."""

from __future__ import annotations

from collections import Counter
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from netwatch.decode import records
from netwatch.decode.tables import Decoded, Dhcp, Discovery, Lldp, PollReply, Record
from netwatch.decode.text import mac_number
from netwatch.numbers import Numbers
from netwatch.packets.batch import PacketBatch

I64 = npt.NDArray[np.int64]


class Reading:
    """Reads at most so many records of a kind and tick, and fewer of one sender (contracts 3)."""

    def __init__(self, numbers: Numbers) -> None:
        self.numbers = numbers
        self.storm = 0
        """Records that were counted only."""
        self._of_kind: Counter[int] = Counter()
        """In the tick that is open."""
        self._of_mac: Counter[tuple[int, int]] = Counter()

    def read(self, batch: PacketBatch, decoded: Decoded, lo: int, hi: int) -> list[Record]:
        """The records of rows lo..hi, which belong to one tick."""
        rare = decoded.rare
        a, b = rare.row.searchsorted((lo, hi)).tolist()
        index = self._first_of_kind(rare.kind[a:b]) + a
        keys = list(zip(rare.kind[index].tolist(), decoded.frames.mac[rare.row[index]].tolist(), strict=True))
        self._of_mac.update(keys)
        if max(self._of_mac.values(), default=0) > self.numbers.cap_records_mac:
            self._of_mac.subtract(keys)
            index = index[[self._is_within(key) for key in keys]]
        self.storm += b - a - len(index)
        return records.read(batch, decoded, index)

    def _is_within(self, key: tuple[int, int]) -> bool:
        """One more of a kind and a sender: within the cap?"""
        self._of_mac[key] += 1
        return self._of_mac[key] <= self.numbers.cap_records_mac

    def _first_of_kind(self, kind: npt.NDArray[np.uint8]) -> I64:
        """Places of those that are within the cap of their kind; a storm costs no Python for the rest."""
        if max([len(kind), *self._of_kind.values()]) <= self.numbers.cap_records_tick // 2:
            self._of_kind.update(kind.tolist())
            return np.arange(len(kind))
        order = np.argsort(kind, kind="stable")
        sorts, begins, counts = np.unique(kind[order], return_index=True, return_counts=True)
        rank = np.empty(len(kind), np.int64)
        rank[order] = np.arange(len(kind)) - np.repeat(begins, counts)
        before = np.zeros(int(kind.max(initial=0)) + 1, np.int64)
        for each, count in zip(sorts.tolist(), counts.tolist(), strict=True):
            before[each] = self._of_kind[each]
            self._of_kind[each] += count
        return np.flatnonzero(before[kind] + rank < self.numbers.cap_records_tick)

    def close_tick(self) -> None:
        """The next tick's records are counted anew."""
        self._of_kind.clear()
        self._of_mac.clear()


class Said(NamedTuple):
    """What a record says of the box that it is about."""

    box: tuple[int, int]
    """(segment, MAC); MAC 0 = not known."""
    names: dict[str, str]
    """By where the name comes from."""
    server: str
    """The DHCP server that it chose, '' = none."""


def said(record: Record) -> Said | None:
    """None where it says neither a name nor a choice, as most do."""
    who, server = record.mac, ""
    if isinstance(record, Dhcp):
        origin, name, who, server = "DHCP", record.host_name, record.chaddr, record.server if record.op == 1 else ""
    elif isinstance(record, PollReply):
        origin, name = "Art-Net", record.long_name or record.short_name
    elif isinstance(record, Lldp):
        origin, name = "LLDP", record.system_name
    elif isinstance(record, Discovery):
        origin, name = "sACN", record.name
    else:
        return None
    if not name and not server:
        return None
    mac = mac_number(who)
    return Said((record.segment, mac), {origin: name} if name and mac else {}, server) if mac or server else None
