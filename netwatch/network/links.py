"""What cables and switches show of themselves: VLAN tags, boxes that start anew, spanning tree, this laptop's own link."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import Decoded, Dhcp, Lldp, Stp
from netwatch.decode.text import mac_text
from netwatch.network.capped import Capped
from netwatch.network.clock import NS
from netwatch.network.leases import DECLINE, DISCOVER, REQUEST
from netwatch.network.neighbours import another_change
from netwatch.network.vantage import PortState
from netwatch.numbers import Numbers
from netwatch.packets.batch import DIRECTION_OUT, PacketBatch

I64 = npt.NDArray[np.int64]
Bool = npt.NDArray[np.bool_]

_KEPT, _EVENTS = 16, 64
_ONE_START = 2 * NS
"""Signs so near each other are of one start."""
_PROBES = 10 * NS
"""Probes of one start come nearer to each other (RFC 5227 1.1: three within 2 to 4 s)."""
_AFTER_DHCP = 30 * NS
"""So long after it got an address a box probes it as part of the same start (derived: RFC 2131 4.4.1, RFC 5227 2.1)."""
_EVERYBODY = np.uint64(0xFFFFFFFFFFFF)
_BRIDGES, _OWN_TREE = np.uint64(0x0180C2000000), np.uint64(0x01000CCCCCCC)
"""Groups that bridges keep to themselves: 01:80:C2:00:00:0x (IEEE 802.1D-2004 7.12.6); a maker's spanning tree (from memory)."""


@dataclass(slots=True)
class Starts:
    """When a box started anew, or got its link back, as its first words tell."""

    times: list[tuple[int, int]] = field(default_factory=list)
    """(ns, n), the newest 16."""
    probed: int = 0
    """The address that it last asked for, as one that may be taken; 0 = it never did."""
    by_probe: bool = False
    """Its newest start was told by probes alone."""
    xid: int | None = None
    declined: bool = False
    """It gave an address back: what follows is no start."""
    last_probe: int = 0

    def add(self, time: int, n: int, *, by_probe: bool = False) -> None:
        """One more start."""
        if not self.times or time - self.times[-1][0] >= _ONE_START:
            self.times.append((time, n))
            self.by_probe = by_probe
            del self.times[:-_KEPT]


@dataclass(slots=True)
class Wait:
    """How long a port of the switch kept us out after our link came up."""

    linked: int
    """ns."""
    bpdus: int = 0
    bpdu_n: tuple[int, int] = (0, 0)
    """Packet numbers of the first and the newest."""
    first: int | None = None
    """ns of the first frame of any box."""
    first_n: int = 0


@dataclass(slots=True)
class Tag:
    """One VLAN of tagged frames on a port."""

    n: int
    """Packet number of the first."""
    first: int
    """ns."""
    last: int


class Links:
    """By port or segment, as far as it was seen."""

    def __init__(self, numbers: Numbers) -> None:
        self.starts: Capped[tuple[int, str], Starts] = Capped("boxes that start", int(numbers.cap_clients))
        """By (segment, MAC)."""
        self.tags: dict[int, dict[int, Tag]] = {}
        """By port and VLAN."""
        self.changes: dict[int, list[tuple[int, int]]] = {}
        """By segment: (ns, n) of the first word of each topology change, the newest 64."""
        self.losses: dict[int, list[int]] = {}
        """By port: when our link was lost, the newest 64."""
        self.waits: dict[int, Wait] = {}
        """By port: since our link last came up."""
        self.switch: dict[int, Lldp] = {}
        """By port: what the switch last said of itself."""
        self._signs: list[tuple[int, Callable[[], None]]] = []
        """Of the tick that is open: packet number, and what to make of it."""
        self._flagged: dict[int, int] = {}
        """By segment: ns of the newest word of a topology change."""

    # ---- columns ----

    def alone(self, batch: PacketBatch, decoded: Decoded, tick: I64, ports: dict[int, PortState]) -> set[int]:
        """Ticks of a batch that hold news: a probe, a new tag, the first frame after our link came up."""
        found = set(tick[_probes(decoded)].tolist())
        tagged = decoded.rows(lambda frames: (frames.segment & 0xFFF000) != 0)
        for segment in np.unique(decoded.frames.segment[tagged] >> 12).tolist():
            if (segment & 0xFFF) not in self.tags.get(segment >> 12, {}):
                found.add(int(tick[tagged[np.argmax(decoded.frames.segment[tagged] >> 12 == segment)]]))
        for port in self._waiting():
            row = _first(batch, decoded, port, ports, 0, batch.rows)
            found |= set() if row is None else {int(tick[row])}
        return found

    def fold(self, batch: PacketBatch, decoded: Decoded, time: I64, lo: int, hi: int, ports: dict[int, PortState]) -> bool:
        """Rows lo..hi of a batch; True when there is news."""
        news = self._fold_probes(batch, decoded, time, lo, hi)
        # Light of known forms has no tag.
        tagged = np.flatnonzero(decoded.frames.segment[lo:hi] & 0xFFF000) + lo if decoded.kinds is None else ()
        if len(tagged):
            kept, first, place = np.unique(decoded.frames.segment[tagged] >> 12, return_index=True, return_inverse=True)
            newest = np.zeros(len(kept), np.int64)
            newest[place.reshape(-1)] = time[tagged]  # rising: the last one stays
            order = np.argsort(first)  # as they came, however the input was cut
            for segment, at, last in zip(kept[order].tolist(), first[order].tolist(), newest[order].tolist(), strict=True):
                tags = self.tags.setdefault(segment >> 12, {})
                news |= (segment & 0xFFF) not in tags
                tag = Tag(batch.first + int(tagged[at]), int(time[tagged[at]]), last)
                tags.setdefault(segment & 0xFFF, tag).last = last
        for port in self._waiting():
            row = _first(batch, decoded, port, ports, lo, hi)
            if row is not None:
                wait, news = self.waits[port], True
                wait.first, wait.first_n = int(time[row]), batch.first + row
        return news

    def _waiting(self) -> list[int]:
        return [port for port, wait in self.waits.items() if wait.first is None]

    def _fold_probes(self, batch: PacketBatch, decoded: Decoded, time: I64, lo: int, hi: int) -> bool:
        """A box asks whether an address is free before it uses it (RFC 5227 2.1.1): after each start and each link-up."""
        rows = _probes(decoded)
        if not len(rows):
            return False
        a, b = np.searchsorted(rows, (lo, hi)).tolist()
        arps, at = decoded.arps, np.searchsorted(decoded.arps.row, rows[a:b])
        for row, mac, address in zip(rows[a:b].tolist(), arps.sha[at].tolist(), arps.tpa[at].tolist(), strict=True):
            key = int(decoded.frames.segment[row]), mac_text(mac)
            self._signs.append((batch.first + row, partial(self._probe, key, address, int(time[row]), batch.first + row)))
        return bool(a < b)

    def _probe(self, key: tuple[int, str], address: int, time: int, n: int) -> None:
        box = self.starts.touch(key, time, Starts)
        if box is None:
            return
        again = box.probed in (0, address) and (not box.last_probe or time - box.last_probe > _PROBES)
        served = not box.by_probe and bool(box.times) and time - box.times[-1][0] < _AFTER_DHCP
        if again and not served:
            box.add(time, n, by_probe=True)
        box.probed, box.last_probe = address, time

    # ---- records ----

    def dhcp(self, record: Dhcp, time: int, chose: int | None) -> None:
        """A client's words; ``chose`` = when it last chose a server."""
        if record.message not in (DISCOVER, REQUEST, DECLINE) or record.op != 1 or not record.chaddr:
            return
        known = not (record.server or record.ciaddr) and bool(record.requested)
        if record.message == REQUEST and not known:
            return
        self._signs.append((record.n, partial(self._ask, record, time, chose)))

    def _ask(self, record: Dhcp, time: int, chose: int | None) -> None:
        box = self.starts.touch((record.segment, record.chaddr), time, Starts)
        if box is None:
            return
        if record.message == DECLINE:
            box.declined = True
            return
        if record.message == REQUEST:  # INIT-REBOOT: it had an address before (RFC 2131 4.3.2)
            new = record.xid != box.xid
        else:
            new = not box.times or (chose is not None and chose > box.times[-1][0] and not box.declined)
            box.declined = False
        box.xid = record.xid
        if new:
            box.add(time, record.n)

    def settle(self) -> None:
        """At a tick's end: what was heard of starts, in order of n, however the tick was cut."""
        for _, tell in sorted(self._signs, key=lambda sign: sign[0]):
            tell()
        self._signs.clear()

    def bpdu(self, record: Stp, time: int) -> None:
        """Spanning tree speaks."""
        wait = self.waits.get(record.segment >> 24)
        if wait is not None and (wait.first is None or record.n < wait.first_n):
            wait.bpdus += 1
            wait.bpdu_n = wait.bpdu_n[0] or record.n, record.n
        if record.topology_change:
            if another_change(self._flagged.get(record.segment), time):
                events = self.changes.setdefault(record.segment, [])
                events.append((time, record.n))
                del events[:-_EVENTS]
            self._flagged[record.segment] = time

    def lldp(self, record: Lldp) -> None:
        """The switch speaks."""
        self.switch[record.segment >> 24] = record

    # ---- our own link ----

    def link(self, port: int, before: str, now: str, time: int) -> None:
        """It changed, as a mark tells: 'up', 'up 1000 Mbit/s', 'down', 'gone'."""
        if before.startswith("up") and not now.startswith("up"):
            losses = self.losses.setdefault(port, [])
            losses.append(time)
            del losses[:-_EVENTS]
            self.waits.pop(port, None)
        elif now.startswith("up") and not before.startswith("up"):
            self.waits[port] = Wait(time)

    def evict(self, now: int) -> None:
        """At a tick's end."""
        self.starts.evict(now)


def _probes(decoded: Decoded) -> I64:
    """Rows of ARP probes to everybody; a switch that watches its ports sends them to single boxes."""
    arps = decoded.arps
    if not len(arps.row):
        return np.zeros(0, np.int64)
    here = np.flatnonzero((arps.spa == 0) & (arps.op == 1) & (arps.tpa != 0) & (arps.sha != 0))
    rows: I64 = arps.row[here].astype(np.int64)
    asking: I64 = rows[decoded.frames.to_mac[rows] == _EVERYBODY]
    return asking


def _first(batch: PacketBatch, decoded: Decoded, port: int, ports: dict[int, PortState], lo: int, hi: int) -> int | None:
    """The first row of another box on a port that a bridge let through."""
    mac, to_mac = decoded.frames.mac[lo:hi], decoded.frames.to_mac[lo:hi]
    state = ports.get(port)
    own = np.array(sorted(state.own) if state else [], np.uint64)
    passed = (to_mac & ~np.uint64(0xF) != _BRIDGES) & (to_mac & ~np.uint64(0x1) != _OWN_TREE)
    others = (batch.port[lo:hi] == port) & (batch.direction[lo:hi] != DIRECTION_OUT) & (mac != 0) & ~np.isin(mac, own)
    found: Bool = others & passed
    return int(np.argmax(found)) + lo if found.any() else None
