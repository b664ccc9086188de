"""What the laptop says of one of its interfaces, read from a mark's facts into types."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from ipaddress import IPv4Interface
from typing import Any


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

    @classmethod
    def read(cls, facts: Mapping[str, Any]) -> LaptopFacts:
        """The facts of a mark; what is missing or of another type stays unknown."""
        speed, mtu, signal = facts.get("speed"), facts.get("mtu"), facts.get("signal_dbm")
        return cls(
            present=_bool(facts.get("present")), up=_bool(facts.get("up")), link=_bool(facts.get("link")),
            name=_text(facts.get("name")), kind=_text(facts.get("kind")) or "unknown", mac=_text(facts.get("mac")).lower(),
            addresses=_addresses(facts.get("addresses")), gateway=_text(facts.get("gateway")),
            speed=speed if isinstance(speed, int | float) and not isinstance(speed, bool) else None,
            duplex=_text(facts.get("duplex")) or "unknown", mtu=mtu if type(mtu) is int else None,
            cell=_text(facts.get("cell")), signal_dbm=signal if type(signal) is int else None,
            limited=facts.get("limited") is True,
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
    return _addresses(texts)


def _bool(value: object) -> bool | None:
    return value if isinstance(value, bool) else None


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


def _addresses(value: object) -> tuple[IPv4Interface, ...]:
    out = []
    for text in value if isinstance(value, list | tuple) else ():
        try:
            out.append(IPv4Interface(text))
        except ValueError:
            continue
    return tuple(out)
