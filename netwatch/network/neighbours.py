"""What switches say of themselves: LLDP (IEEE 802.1AB) and spanning tree (IEEE 802.1D), as heard, for who looks after them."""

from __future__ import annotations

from dataclasses import dataclass

from netwatch.decode.tables import Lldp, Stp
from netwatch.network.capped import Capped
from netwatch.network.clock import NS
from netwatch.numbers import Numbers

_FLAGGED = 10 * NS
"""BPDUs come every 2 s and are flagged for some 35 s after a change (IEEE 802.1D-2004 17.14, from memory)."""


@dataclass(slots=True)
class Neighbour:
    """One port of a box that tells by LLDP who it is."""

    record: Lldp
    """The newest."""
    first: int
    last: int


@dataclass(slots=True)
class Bridge:
    """One port of a switch that speaks spanning tree. Times in ns."""

    record: Stp
    """The newest."""
    first: int
    last: int
    heard: int = 0
    changes: int = 0
    """Topology changes that it told of."""
    changed: int | None = None
    """When it told of one last."""


class Neighbours:
    """Per segment."""

    def __init__(self, numbers: Numbers) -> None:
        self.lldp: Capped[tuple[int, str, str, str], Neighbour] = Capped("LLDP neighbours", int(numbers.cap_neighbours))
        """By (segment, MAC, chassis, port)."""
        self.bridges: Capped[tuple[int, str, str, str, int], Bridge] = Capped("spanning tree", int(numbers.cap_neighbours))
        """By (segment, MAC, root, bridge, port)."""

    def hear(self, record: Lldp, time: int) -> None:
        """A box says who it is."""
        key = record.segment, record.mac, record.chassis, record.port_id
        found = self.lldp.touch(key, time, lambda: Neighbour(record, time, time))
        if found is not None:
            found.record, found.last = record, time

    def bpdu(self, record: Stp, time: int) -> None:
        """A switch speaks spanning tree."""
        key = record.segment, record.mac, record.root, record.bridge, record.port
        found = self.bridges.touch(key, time, lambda: Bridge(record, time, time))
        if found is None:
            return
        found.record, found.last, found.heard = record, time, found.heard + 1
        if record.topology_change:
            found.changes += another_change(found.changed, time)
            found.changed = time

    def evict(self, time: int) -> None:
        """At tick end."""
        self.lldp.evict(time)
        self.bridges.evict(time)


def another_change(before: int | None, time: int) -> bool:
    """Is a word of a topology change at ``time`` of another one than the word before? Times in ns."""
    return before is None or time - before > _FLAGGED
