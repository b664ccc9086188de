"""The laptop itself in one picture: each interface as the system tells it, what was heard there, and what is wrong."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from netwatch.network.laptop import LaptopFacts
from netwatch.network.vendors import vendor
from netwatch.packets.details import Air, Details
from netwatch.packets.firewall import Firewall
from netwatch.packets.machine import Interface
from netwatch.story.snapshot import AlertView, Snapshot
from netwatch.words.cards import air, boxes, light, queriers, rest, servers
from netwatch.words.phrases import universes

SCHEMA = 1
NS = 1_000_000_000
_RANK = ("now", "soon", "quality", "tidy", "note")


@dataclass(frozen=True, slots=True)
class Heard:
    """What came to one interface from others while we listened."""

    packets: int
    parts: tuple[str, ...]
    """'412 packets of universes 1-4', '5 other boxes' ..."""


@dataclass(frozen=True, slots=True)
class Card:
    """One interface."""

    name: str
    kind: str
    up: bool
    link: bool
    speed: int | None
    """Bit/s."""
    used: bool
    """The laptop is plugged into something by it."""
    duplex: str
    mtu: int
    mac: str
    vendor: str
    addresses: tuple[str, ...]
    dhcp: bool | None
    gateway: str
    master: str
    """The bridge or bond that it is part of."""
    takes: tuple[str, ...]
    """Networks that the system sends out by it beyond its own; of tunnels and virtual networks."""
    cell: str
    """MAC of the Wi-Fi access point."""
    air: Air | None
    firewall: Firewall | None
    heard: Heard | None
    """None: not listened to."""

    @property
    def air_text(self) -> str:
        """Wi-Fi in words, '' where nothing is told."""
        told = self.air or Air()
        shown = air(told.network, told.band, told.channel, told.signal_dbm, told.signal_share, told.rate, self.cell)
        return shown if shown != "Wi-Fi" else ""


@dataclass(frozen=True, slots=True)
class Laptop:
    """All of it."""

    system: str
    """Linux, macOS or Windows."""
    version: str
    at: int
    """ns."""
    seconds: float | None
    """So long was listened; None: not at all."""
    cards: tuple[Card, ...]
    wrong: tuple[AlertView, ...]
    """Worst first; what another one explains is left out."""

    @property
    def sound(self) -> bool:
        """There is a link, and nothing makes findings doubtful."""
        return any(each.link for each in self.cards) and not any(each.doubtful for each in self.wrong)


def card(
    own: Interface, details: Details, firewall: Firewall | None, facts: Mapping[str, Any], takes: Sequence[str],
    heard: Heard | None, *, used: bool,
) -> Card:  # fmt: skip
    """One interface from what the system tells; ``facts`` = those of its mark."""
    read = LaptopFacts.read(facts)
    mac = own.mac.hex(":")
    return Card(
        own.name, own.kind, own.up, own.link, own.speed, used, own.duplex, own.mtu, mac, vendor(mac) if mac else "", own.networks,
        details.dhcp if own.networks else None, read.gateway, read.master, tuple(takes), read.cell,
        details.air or (Air(signal_dbm=read.signal_dbm) if read.signal_dbm is not None else None), firewall, heard,
    )  # fmt: skip


def heard_on(snapshot: Snapshot, name: str) -> Heard:
    """What came to one interface from others."""
    packets = sum(each.packets for each in snapshot.loads if each.interface == name)
    parts = []
    for protocol in ("e131", "artnet"):
        flows = [each for each in snapshot.streams if (each.interface, each.protocol) == (name, protocol) and not each.ours]
        if flows:
            sent, numbers = sum(each.packets for each in flows), {each.universe for each in flows}
            shown = universes(numbers, protocol, 3)
            parts.append(light(sent, shown if protocol == "artnet" else f"sACN {shown}"))
    others = sum(each.interface == name and not each.ours for each in snapshot.hosts)
    parts += [boxes(others)] if others else []
    given = [each.address for each in snapshot.servers if each.interface == name]
    asking = [each.address for each in snapshot.queriers if each.interface == name]
    parts += ([servers(given)] if given else []) + ([queriers(asking)] if asking else [])
    if packets and not parts:
        parts.append(rest(packets))
    return Heard(packets, tuple(parts))


def wrong(snapshot: Snapshot) -> tuple[AlertView, ...]:
    """Alerts about the laptop that stand, worst first."""
    mine = [each for each in snapshot.alerts if each.about_laptop and each.closed is None and each.over is None]
    return tuple(sorted(mine, key=lambda each: (_RANK.index(each.severity), each.id)))


def document(laptop: Laptop) -> dict[str, Any]:
    """Plain values for JSON, schema 1."""
    return {
        "schema": SCHEMA, "system": laptop.system, "version": laptop.version, "at": laptop.at / NS, "listened": laptop.seconds,
        "interfaces": [asdict(each) for each in laptop.cards],
        "wrong": [_alert(each) for each in laptop.wrong],
        "sound": laptop.sound,
    }  # fmt: skip


def _alert(alert: AlertView) -> dict[str, Any]:
    return {
        "code": alert.code, "severity": alert.severity, "certainty": alert.certainty, "interface": alert.interface,
        "subject": alert.subject, "title": alert.title, "facts": dict(alert.facts),
        "steps": [{"text": text, "disturbs": disturbs} for text, disturbs in alert.steps],
    }  # fmt: skip
