"""Two lists in columns: who sends what, and which box has which address."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from ipaddress import ip_address
from typing import Generic, TypeVar

from rich.text import Text
from textual.geometry import Size

from netwatch.screens.lines import Row
from netwatch.screens.looks import Look
from netwatch.screens.words import cell, clock, light, rate, share, span, universe
from netwatch.story.snapshot import HostView, Snapshot, StreamView

Item = TypeVar("Item")
ROOMY = 100
"""Cells from which on columns stand two apart."""


@dataclass(frozen=True, slots=True)
class Column(Generic[Item]):
    """One column. ``width`` in cells; 0 takes what is left."""

    title: str
    width: int
    value: Callable[[Item, Snapshot], str]
    least: int = 0
    """Shown where the list has at least so many cells."""
    right: bool = False


STREAMS: tuple[Column[StreamView], ...] = (
    Column("universe", 17, lambda s, at: universe(s.protocol, s.universe)),
    Column("sent by", 0, lambda s, at: f"this laptop ({s.name})" if s.ours and s.name else "this laptop" if s.ours else s.name or "(no name)"),
    Column("from address", 15, lambda s, at: s.address, least=70),
    Column("prio", 4, lambda s, at: "" if s.priority is None else str(s.priority), least=76, right=True),
    Column("per s", 5, lambda s, at: rate(s.rate_now), least=50, right=True),
    Column("lost", 6, lambda s, at: share(s.lost, s.packets + s.lost) or "none", least=90, right=True),
    Column("light", 13, lambda s, at: light(s, at.now)),
    Column("goes to", 9, lambda s, at: s.destination, least=110),
    Column("heard for", 12, lambda s, at: span(s.last - s.first), least=120, right=True),
)
HOSTS: tuple[Column[HostView], ...] = (
    Column("address", 15, lambda h, at: addresses(h)),
    Column("name", 0, lambda h, at: ", ".join(dict.fromkeys(name for name, _ in h.names)) or "(no name)"),
    Column("MAC", 17, lambda h, at: h.mac, least=60),
    Column("maker", 18, lambda h, at: h.vendor, least=100),
    Column("what", 15, lambda h, at: role(h, at), least=76),
    Column("address from", 15, lambda h, at: h.lease_from, least=120),
    Column("last heard", 10, lambda h, at: clock(h.last), least=90, right=True),
)


def addresses(host: HostView) -> str:
    """'10.0.0.5', '10.0.0.5 +2', or that none is known."""
    if not host.addresses:
        return "none known"
    more = len(host.addresses) - 1
    return f"{host.addresses[0]} +{more}" if more else host.addresses[0]


def role(host: HostView, snapshot: Snapshot) -> str:
    """'this laptop', 'gives addresses', or ''."""
    if host.ours:
        return "this laptop"
    return "gives addresses" if any(server.mac == host.mac for server in snapshot.servers) else ""


def stream_key(stream: StreamView) -> tuple[object, ...]:
    """What a line of the list stands for."""
    return "stream", stream.interface, stream.vlan, stream.protocol, stream.universe, stream.source


def host_key(host: HostView) -> tuple[object, ...]:
    """What a line of the list stands for."""
    return "host", host.interface, host.vlan, host.mac


def stream_rows(snapshot: Snapshot, size: Size, look: Look) -> list[Row]:
    """By protocol and universe, oldest source first."""
    streams = sorted(snapshot.streams, key=lambda s: (s.protocol, s.universe, s.first, s.source))

    def row(stream: StreamView) -> Row:
        style = look.faint if stream.ended else look.text
        return Row(stream_key(stream), lambda: [line(STREAMS, stream, snapshot, size.width, style)])

    return [row(stream) for stream in streams] or [nobody("Nobody has sent light so far.", size, look)]


def host_rows(snapshot: Snapshot, size: Size, look: Look) -> list[Row]:
    """By address, boxes without one last."""

    def place(host: HostView) -> tuple[int, int, str]:
        first = ip_address(host.addresses[0]) if host.addresses else None
        return (9, 0, host.mac) if first is None else (first.version, int(first), host.mac)

    def row(host: HostView) -> Row:
        return Row(host_key(host), lambda: [line(HOSTS, host, snapshot, size.width, look.text)])

    hosts = sorted(snapshot.hosts, key=place)
    return [row(host) for host in hosts] or [nobody("No box has been heard so far.", size, look)]


def heading(columns: Sequence[Column[Item]], width: int, look: Look) -> Text:
    """The titles of the columns that fit."""
    return _join([(c.title, w, c.right) for c, w in _fit(columns, width)], width, look.faint)


def line(columns: Sequence[Column[Item]], item: Item, snapshot: Snapshot, width: int, style: str) -> Text:
    """One item in the columns that fit."""
    return _join([(c.value(item, snapshot), w, c.right) for c, w in _fit(columns, width)], width, style)


def nobody(text: str, size: Size, look: Look) -> Row:
    """What an empty list says."""
    return Row("nobody", lambda: [cell(text, size.width, look.text)], chosen=False)


def _gap(width: int) -> int:
    return 1 if width < ROOMY else 2


def _fit(columns: Sequence[Column[Item]], width: int) -> list[tuple[Column[Item], int]]:
    shown = [column for column in columns if width >= column.least]
    left = width - sum(column.width for column in shown) - _gap(width) * (len(shown) - 1)
    return [(column, column.width or max(left, 4)) for column in shown]


def _join(cells: list[tuple[str, int, bool]], width: int, style: str) -> Text:
    return Text(" " * _gap(width)).join([cell(value, w, style, right) for value, w, right in cells])
