"""What cables and switches show of themselves: VLAN tags, spanning tree, this laptop's own link."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import Decoded, Lldp, Stp
from netwatch.network.neighbours import another_change
from netwatch.network.vantage import PortState
from netwatch.packets.batch import DIRECTION_OUT, PacketBatch

I64 = npt.NDArray[np.int64]
Bool = npt.NDArray[np.bool_]

_EVENTS = 64
_BRIDGES, _OWN_TREE = np.uint64(0x0180C2000000), np.uint64(0x01000CCCCCCC)
"""Groups that bridges keep to themselves: 01:80:C2:00:00:0x (IEEE 802.1D-2004 7.12.6); a maker's spanning tree (from memory)."""


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

    def __init__(self) -> None:
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
        self._flagged: dict[int, int] = {}
        """By segment: ns of the newest word of a topology change."""

    # ---- columns ----

    @staticmethod
    def tagged(decoded: Decoded) -> I64:
        """Rows with a VLAN tag."""
        return decoded.rows(lambda frames: (frames.segment & 0xFFF000) != 0)

    def alone(self, batch: PacketBatch, decoded: Decoded, tagged: I64, tick: I64, ports: dict[int, PortState]) -> set[int]:
        """Ticks of a batch that hold news: a new tag, the first frame after our link came up."""
        found = set[int]()
        for segment in np.unique(decoded.frames.segment[tagged] >> 12).tolist():
            if (segment & 0xFFF) not in self.tags.get(segment >> 12, {}):
                found.add(int(tick[tagged[np.argmax(decoded.frames.segment[tagged] >> 12 == segment)]]))
        for port in self._waiting():
            row = _first(batch, decoded, port, ports, 0, batch.rows)
            found |= set() if row is None else {int(tick[row])}
        return found

    def fold(self, batch: PacketBatch, decoded: Decoded, tagged: I64, time: I64, lo: int, hi: int,
             ports: dict[int, PortState]) -> bool:
        """Rows lo..hi of a batch; True when there is news."""
        news = False
        if len(tagged):
            tagged = tagged[slice(*tagged.searchsorted((lo, hi)).tolist())]
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

    # ---- records ----

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


def _first(batch: PacketBatch, decoded: Decoded, port: int, ports: dict[int, PortState], lo: int, hi: int) -> int | None:
    """The first row of another box on a port that a bridge let through."""
    mac, to_mac = decoded.frames.mac[lo:hi], decoded.frames.to_mac[lo:hi]
    state = ports.get(port)
    own = np.array(sorted(state.own) if state else [], np.uint64)
    passed = (to_mac & ~np.uint64(0xF) != _BRIDGES) & (to_mac & ~np.uint64(0x1) != _OWN_TREE)
    others = (batch.port[lo:hi] == port) & (batch.direction[lo:hi] != DIRECTION_OUT) & (mac != 0) & ~np.isin(mac, own)
    found: Bool = others & passed
    return int(np.argmax(found)) + lo if found.any() else None
