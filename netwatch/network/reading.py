"""The rare packets of a tick as records: as many as the caps allow, the rest counted; and whom a record is about."""

from __future__ import annotations

from collections import Counter

import numpy as np
import numpy.typing as npt

from netwatch.decode import records
from netwatch.decode.tables import Decoded, Dhcp, Discovery, Lldp, PollReply, Record
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
        a, b = (int(place) for place in np.searchsorted(rare.row, (lo, hi)))
        found: list[Record] = []
        for at in self._first_of_kind(rare.kind[a:b].astype(np.int64)).tolist():
            key = int(rare.kind[a + at]), int(decoded.frames.mac[int(rare.row[a + at])])
            self._of_mac[key] += 1
            if self._of_mac[key] <= self.numbers.cap_records_mac:
                found.append(records.read(batch, decoded, a + at))
        self.storm += b - a - len(found)
        return found

    def _first_of_kind(self, kind: I64) -> I64:
        """Places of those that are within the cap of their kind; a storm costs no Python for the rest."""
        if len(kind) <= self.numbers.cap_records_tick // 2 and not any(
            count > self.numbers.cap_records_tick // 2 for count in self._of_kind.values()
        ):
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


def chosen(record: Record) -> str:
    """The DHCP server that a client names, '' in any other record."""
    return record.server if isinstance(record, Dhcp) and record.op == 1 else ""


def names(record: Record) -> dict[str, str]:
    """What a record calls its box, by where the name comes from; empty where it names none."""
    found = {}
    if isinstance(record, Dhcp):
        found = {"DHCP": record.host_name}
    elif isinstance(record, PollReply):
        found = {"Art-Net": record.long_name or record.short_name}
    elif isinstance(record, Lldp):
        found = {"LLDP": record.system_name}
    elif isinstance(record, Discovery):
        found = {"sACN": record.name}
    return {origin: name for origin, name in found.items() if name} if box_of(record)[1] else {}


def box_of(record: Record) -> tuple[int, int]:
    """(segment, MAC) of the box that a record is about; MAC 0 = not known."""
    mac = record.chaddr if isinstance(record, Dhcp) else record.mac
    return record.segment, int(mac.replace(":", "") or "0", 16)
