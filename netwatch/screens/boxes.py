"""Boxes: which box has which address, from whom, until when, and by which names."""

from __future__ import annotations

from collections.abc import Sequence
from ipaddress import ip_address

from rich.text import Text
from textual.geometry import Size

from netwatch.screens.columns import Column, line, nobody
from netwatch.screens.columns import heading as titles
from netwatch.screens.lines import Row
from netwatch.screens.looks import Look
from netwatch.screens.words import clock
from netwatch.story.snapshot import HostView, Snapshot

HOSTS: tuple[Column[HostView], ...] = (
    Column("address", 15, lambda h, at: addresses(h)),
    Column("name", 0, lambda h, at: ", ".join(dict.fromkeys(name for name, _ in h.names)) or "(no name)"),
    Column("what", 15, lambda h, at: role(h, at), least=56),
    Column("address from", 15, lambda h, at: h.lease_from, least=76),
    Column("until", 8, lambda h, at: "" if h.lease_until is None else clock(h.lease_until), least=86),
    Column("MAC", 17, lambda h, at: h.mac, least=104),
    Column("maker", 18, lambda h, at: h.vendor, least=124),
    Column("last heard", 10, lambda h, at: clock(h.last), least=136, right=True),
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


def host_key(host: HostView) -> tuple[object, ...]:
    """What a line of the list stands for."""
    return "host", host.interface, host.vlan, host.mac


def rows(snapshot: Snapshot, size: Size, look: Look) -> Sequence[Row]:
    """By address, boxes without one last."""

    def place(host: HostView) -> tuple[int, int, str]:
        first = ip_address(host.addresses[0]) if host.addresses else None
        return (9, 0, host.mac) if first is None else (first.version, int(first), host.mac)

    def row(host: HostView) -> Row:
        return Row(host_key(host), lambda: [line(HOSTS, host, snapshot, size.width, look.text)])

    hosts = sorted(snapshot.hosts, key=place)
    return [row(host) for host in hosts] or [nobody("No box has been heard so far.", size, look)]


def heading(width: int, look: Look) -> Text:
    """The titles of the columns."""
    return titles(HOSTS, width, look)
