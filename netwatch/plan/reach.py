"""Can two boxes on one wire talk: each way, by unicast, directed broadcast and E1.31 multicast, and why.

Two boxes on the same switch and VLAN, no router. A box decides by its own mask alone whether another is a neighbour
(RFC 950 2.1, RFC 1122 3.3.1.1), so the answer may differ each way.
"""

from __future__ import annotations

from dataclasses import dataclass
from ipaddress import IPv4Address, IPv4Interface

from netwatch.network import masks

YES, ONE_WAY, DEPENDS, NO = "YES", "ONE WAY", "DEPENDS", "NO"
_USUAL = (24, 16, 8)
"""Masks that end at a dot: the ones that people can type without a table (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Way:
    """One manner of sending in one direction."""

    how: str
    """unicast, broadcast or multicast."""
    state: str
    why: str
    """A key of ``words.reach.WHY``."""


@dataclass(frozen=True, slots=True)
class Direction:
    """What comes through from one box to the other."""

    local: bool
    """The sender takes the receiver for a neighbour."""
    unicast: Way
    broadcast: Way
    multicast: Way

    @property
    def ways(self) -> tuple[Way, ...]:
        return self.unicast, self.broadcast, self.multicast


@dataclass(frozen=True, slots=True)
class Reach:
    """Both directions, and a mask that would make them neighbours."""

    a: IPv4Interface
    b: IPv4Interface
    there: Direction
    back: Direction
    common: int | None
    """Prefix length with which both are neighbours and both addresses may be used, at least 8; None = there is none."""

    @property
    def whole(self) -> bool:
        """Everything comes through, both ways."""
        return all(way.state == YES for way in (*self.there.ways, *self.back.ways))


def reach(a: IPv4Interface, b: IPv4Interface) -> Reach:
    """Both directions between two boxes."""
    return Reach(a, b, _direction(a, b), _direction(b, a), None if a.ip == b.ip else _common(int(a.ip), int(b.ip)))


def local(one: IPv4Interface, other: IPv4Address) -> bool:
    """Does a box take that address for a neighbour?"""
    return other in one.network


def usable(one: IPv4Interface) -> bool:
    """May a box have this address under its own mask?"""
    return masks.role(int(one.ip), one.network.prefixlen) == "host"


def broadcast(one: IPv4Interface) -> IPv4Address | None:
    """The directed broadcast address; /31 and /32 have none (RFC 3021)."""
    return one.network.broadcast_address if one.network.prefixlen <= 30 else None


def _direction(sender: IPv4Interface, receiver: IPv4Interface) -> Direction:
    near = local(sender, receiver.ip)
    wrong = "same" if sender.ip == receiver.ip else "" if usable(sender) else "sender" if usable(receiver) else "both"
    if not wrong and not usable(receiver):
        wrong = "receiver"
    if wrong:
        return Direction(near, *(Way(how, NO, wrong) for how in ("unicast", "broadcast", "multicast")))
    back = local(receiver, sender.ip)
    unicast = (YES, "neighbours") if near and back else (ONE_WAY, "no-answer") if near else (NO, "gateway")
    multicast = (YES, "groups") if back else (YES, "groups-foreign")
    return Direction(near, Way("unicast", *unicast), _broadcast(sender, receiver, back), Way("multicast", *multicast))


def _broadcast(sender: IPv4Interface, receiver: IPv4Interface, back: bool) -> Way:
    to = broadcast(sender)
    if to is None:
        return Way("broadcast", NO, "none")
    if to == broadcast(receiver):
        return Way("broadcast", YES, "broadcast")
    if to == receiver.ip:
        return Way("broadcast", DEPENDS, "own-address")
    return Way("broadcast", NO, "one-box" if local(receiver, to) else "elsewhere")


def _common(a: int, b: int) -> int | None:
    shared = masks.common(a, b)
    fitting = [p for p in range(min(shared, 30), 7, -1) if masks.role(a, p) == masks.role(b, p) == "host"]
    return next((p for p in _USUAL if p in fitting), fitting[0] if fitting else None)
