"""The rare packets of a tick as records: as many as the caps allow, the rest counted; and whom a record is about."""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Mapping
from itertools import islice, pairwise
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np
import numpy.typing as npt

from netwatch.decode import records
from netwatch.decode.tables import Dhcp, Discovery, Lldp, PollReply, Record
from netwatch.decode.text import mac_number
from netwatch.numbers import Numbers

if TYPE_CHECKING:
    from netwatch.network.prepared import Prepared

I64 = npt.NDArray[np.int64]

_AHEAD = 512
"""Records read at once, for the next ticks, too: tick by tick each cost twice as much, as nothing stayed in a cache."""
_MOST_RAW = 2_048
_SAYING = frozenset({Dhcp, PollReply, Lldp, Discovery})
_NO_NAMES: Mapping[str, str] = MappingProxyType({})


class Said(NamedTuple):
    """What a record says of the box that it is about."""

    box: tuple[int, int]
    """(segment, MAC); MAC 0 = not known."""
    names: Mapping[str, str]
    """By where the name comes from."""
    server: str
    """The DHCP server that it chose, '' = none."""


Heard: TypeAlias = tuple[Record, Said | None, int]
"""A record, what it says of a box, and its fold time in ns."""


class Ahead:
    """How far the records of one batch were read, and those that wait to be folded."""

    def __init__(self, row: npt.NDArray[np.int32]) -> None:
        self.rows: list[int] = row.tolist()
        """Of ``Decoded.rare``."""
        self.read = self.given = 0
        """Places in ``rows``."""
        self.records: list[Heard] = []


def _number(heard: Heard) -> int:
    return heard[0].n


class Reading:
    """Reads at most so many records of a kind and tick, and fewer of one sender (contracts 3)."""

    def __init__(self, numbers: Numbers) -> None:
        self.numbers = numbers
        self.storm = 0
        """Records that were counted only."""
        self.raw: dict[int, bytes] = {}
        """Newest records as they were captured, by packet number, at most 2,048."""
        self._tick = -1
        """The tick of the next two."""
        self._of_kind: Counter[int] = Counter()
        self._of_mac: Counter[tuple[int, int]] = Counter()

    def read(self, it: Prepared, lo: int, hi: int) -> list[Heard]:
        """The records of rows lo..hi, which begin where the last ones ended."""
        ahead = it.ahead
        begin, end = ahead.given, bisect_left(ahead.rows, hi, ahead.given)
        if end > ahead.read:
            self._go_on(it, end)
        ahead.given = end
        records = ahead.records
        found = bisect_left(records, it.batch.first + hi, key=_number)
        heard = records[:found]
        del records[:found]
        self.storm += end - begin - found
        return heard

    def _go_on(self, it: Prepared, end: int) -> None:
        """Read the next records of a batch up to place ``end``, and some more."""
        ahead, rare = it.ahead, it.decoded.rare
        begin, ahead.read = ahead.read, min(max(end, ahead.read + _AHEAD), len(ahead.rows))
        row = rare.row[begin : ahead.read]
        within = self._within(it.tick[row], rare.kind[begin : ahead.read], it.decoded.frames.mac[row])
        found = records.read(it.batch, it.decoded, within + begin)
        self.raw.update([(record.n, record.raw) for record in found])
        for n in list(islice(self.raw, max(0, len(self.raw) - _MOST_RAW))):
            del self.raw[n]
        ahead.records += zip(found, map(said, found), it.time[row[within]].tolist(), strict=True)

    def _within(self, tick: I64, kind: npt.NDArray[np.uint8], mac: npt.NDArray[np.uint64]) -> I64:
        """Places of those that are within the caps, in order."""
        kept, places = [], np.arange(len(tick))
        bounds = [0, *((tick[1:] != tick[:-1]).nonzero()[0] + 1).tolist(), len(tick)]
        for begin, end in pairwise(bounds):
            if tick[begin] != self._tick:
                self._tick = int(tick[begin])
                self._of_kind.clear()
                self._of_mac.clear()
            if end == len(tick) or self._of_kind or end - begin > self.numbers.cap_records_mac:
                kept.append(self._counted(kind[begin:end], mac[begin:end]) + begin)
            else:  # a whole tick of few
                kept.append(places[begin:end])
        return np.concatenate(kept)

    def _counted(self, kind: npt.NDArray[np.uint8], mac: npt.NDArray[np.uint64]) -> I64:
        """More of the tick that is open: places of those that are within the caps."""
        index = self._first_of_kind(kind)
        keys = list(zip(kind[index].tolist(), mac[index].tolist(), strict=True))
        self._of_mac.update(keys)
        if max(self._of_mac.values(), default=0) > self.numbers.cap_records_mac:
            self._of_mac.subtract(keys)
            index = index[[self._is_within(key) for key in keys]]
        return index

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


def said(record: Record) -> Said | None:
    """None where it says neither a name nor a choice, as most do."""
    if type(record) not in _SAYING:
        return None
    who, server = record.mac, ""
    match record:
        case Dhcp():
            origin, name, who, server = "DHCP", record.host_name, record.chaddr, record.server if record.op == 1 else ""
        case PollReply():
            origin, name = "Art-Net", record.long_name or record.short_name
        case Lldp():
            origin, name = "LLDP", record.system_name
        case Discovery():
            origin, name = "sACN", record.name
    if not name and not server:
        return None
    mac = mac_number(who)
    return Said((record.segment, mac), {origin: name} if name and mac else _NO_NAMES, server) if mac or server else None
