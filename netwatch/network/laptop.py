"""What the laptop says of one of its interfaces, read from a mark's facts into types."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from ipaddress import IPv4Interface, IPv4Network
from itertools import chain, islice
from typing import Any, TypeVar

from netwatch.decode.text import clean

_MOST, _MOST_GROUPS = 64, 4_096
"""Entries that are read of any list, and groups: facts may come from a stranger's file."""
E131_LAST = 63_999
"""The last universe (E1.31-2018 6.2.7)."""
_T = TypeVar("_T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Other:
    """Another interface of the laptop that is up."""

    name: str
    kind: str = "unknown"
    mac: str = ""
    link: bool | None = None
    addresses: tuple[IPv4Interface, ...] = ()
    master: str = ""
    """The bridge or bond that it is part of."""
    hears: bool = False
    """Packets arrive there."""

    @classmethod
    def read(cls, facts: Mapping[str, Any]) -> Other | None:
        """None without a name."""
        name = _text(facts.get("name"))
        return None if not name else cls(
            name=name, kind=_text(facts.get("kind")) or "unknown", mac=_text(facts.get("mac")).lower(),
            link=_bool(facts.get("link")), addresses=interfaces(facts.get("addresses")), master=_text(facts.get("master")),
            hears=facts.get("hears") is True,
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Route:
    """Packets to a network leave by another interface."""

    to: IPv4Network | None
    """None = to all multicast groups."""
    by: str
    kind: str

    @classmethod
    def read(cls, facts: Mapping[str, Any]) -> Route | None:
        """None where something is missing."""
        by, to = _text(facts.get("by")), _text(facts.get("to"))
        try:
            network = None if to == "multicast" else IPv4Network(to)
        except ValueError:
            return None
        return cls(network, by, _text(facts.get("kind")) or "unknown") if by else None


@dataclass(frozen=True, slots=True, kw_only=True)
class LaptopFacts:
    """None or empty = not told. Facts may come from a file, so that nothing is taken for granted."""

    present: bool | None = None
    """False: the interface has gone."""
    up: bool | None = None
    link: bool | None = None
    """A cable or cell is connected."""
    name: str = ""
    kind: str = "unknown"
    mac: str = ""
    addresses: tuple[IPv4Interface, ...] = ()
    """Own IPv4 addresses with their masks."""
    gateway: str = ""
    speed: float | None = None
    """Bit/s."""
    duplex: str = "unknown"
    mtu: int | None = None
    cell: str = ""
    """MAC of the Wi-Fi access point."""
    signal_dbm: int | None = None
    limited: bool = False
    """Only plain sockets are open."""
    master: str = ""
    """The bridge or bond that the interface is part of."""
    others: tuple[Other, ...] = ()
    """The laptop's other interfaces that are up."""
    astray: tuple[Route, ...] = ()
    """Where packets to the interface's own networks, or to multicast groups, leave by another interface."""
    tunnels: tuple[Route, ...] = ()
    """Further networks that go into tunnels and virtual networks."""
    joined: frozenset[str] = frozenset()
    """Groups of light that programs of this laptop asked for here, also before anybody listened."""
    reaches: Mapping[int, bool] = field(default_factory=dict)
    """By UDP port: does light get through to the laptop's programs, or did none of late? Empty = not looked at."""
    blocked: tuple[int, ...] = ()
    """UDP ports that a firewall's rules keep from the laptop's programs."""
    firewall: str = ""
    """Which firewall that is."""

    @classmethod
    def read(cls, facts: Mapping[str, Any]) -> LaptopFacts:
        """The facts of a mark; what is missing or of another type stays unknown."""
        speed, mtu, signal = facts.get("speed"), facts.get("mtu"), facts.get("signal_dbm")
        return cls(
            present=_bool(facts.get("present")), up=_bool(facts.get("up")), link=_bool(facts.get("link")),
            name=_text(facts.get("name")), kind=_text(facts.get("kind")) or "unknown", mac=_text(facts.get("mac")).lower(),
            addresses=interfaces(facts.get("addresses")), gateway=_text(facts.get("gateway")),
            speed=speed if isinstance(speed, int | float) and not isinstance(speed, bool) else None,
            duplex=_text(facts.get("duplex")) or "unknown", mtu=mtu if type(mtu) is int else None,
            cell=_text(facts.get("cell")), signal_dbm=signal if type(signal) is int else None,
            limited=facts.get("limited") is True, master=_text(facts.get("master")),
            others=_all(facts.get("others"), Other.read), astray=_all(facts.get("astray"), Route.read),
            tunnels=_all(facts.get("tunnels"), Route.read), joined=_groups(facts.get("joined")),
            reaches=_reaches(facts.get("reaches")),
            blocked=tuple(port for port in _list(facts.get("blocked")) if type(port) is int),
            firewall=_text(facts.get("firewall")),
        )  # fmt: skip

    @property
    def link_text(self) -> str:
        """'up 1000 Mbit/s', 'up', 'down', 'gone'; '' where nothing is told."""
        if self.present is False:
            return "gone"
        if self.link is None:
            return ""
        if not self.link:
            return "down"
        return f"up {self.speed / 1e6:.0f} Mbit/s" if self.speed else "up"


def interfaces(texts: object) -> tuple[IPv4Interface, ...]:
    """'10.0.0.5/16' and the like; what can't be read is left out."""
    out = []
    for text in _list(texts):
        try:
            out.append(IPv4Interface(text))
        except ValueError:
            continue
    return tuple(out)


def _reaches(value: object) -> dict[int, bool]:
    pairs = list(value.items())[:_MOST] if isinstance(value, Mapping) else []
    return {int(port): told for port, told in pairs
            if isinstance(port, str) and port.isascii() and port.isdigit() and len(port) < 6 and isinstance(told, bool)}


def _groups(value: object) -> frozenset[str]:
    """Of runs of universes (first, last) their groups (E1.31-2018 9.3.1)."""
    pairs = (run for run in _list(value) if isinstance(run, list | tuple) and len(run) == 2)
    runs = [run for run in pairs if all(type(each) is int for each in run)]
    universes = chain.from_iterable(range(max(first, 1), min(last, E131_LAST) + 1) for first, last in runs)
    return frozenset(f"239.255.{each >> 8}.{each & 255}" for each in islice(universes, _MOST_GROUPS))


def _all(value: object, read: Callable[[Mapping[str, Any]], _T | None]) -> tuple[_T, ...]:
    found = (read(each) for each in _list(value) if isinstance(each, Mapping))
    return tuple(each for each in found if each is not None)


def _list(value: object) -> list[Any]:
    return list(value)[:_MOST] if isinstance(value, list | tuple) else []


def _bool(value: object) -> bool | None:
    return value if isinstance(value, bool) else None


def _text(value: object) -> str:
    return clean(value) if isinstance(value, str) else ""
