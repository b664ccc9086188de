"""What a mark says of the laptop beside the interface itself: its other interfaces, and where packets to the rig would leave.

Cheap enough for once a second, and nothing is sent: ``connect`` on a UDP socket only asks the system for its choice of a way.
"""

from __future__ import annotations

import ipaddress
import socket
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import psutil

from netwatch.packets.machine import LINUX, SYSFS, Interface

ROUTES = Path("/proc/thread-self/net/route")
MEMBERSHIPS = Path("/proc/thread-self/net/igmp")
HEARS_EVERY_S = 10.0
HEARS_LEAST = 3
"""Packets in 10 s: an interface that gets fewer hears nobody (common practice, no source)."""
_MOST, _MOST_ROUTES, _MOST_RUNS = 16, 32, 64
_LIGHT_GROUPS = 239 << 8 | 255
_LIGHT_GROUP = "239.255.0.1"
"""Stands for all groups of light (E1.31-2018 9.3.1): universe 1."""
_DISCARD = 9
"""RFC 863; the port does not matter, for nothing is sent."""
_UP = 1
"""RTF_UP of the kernel's route.h."""
_HIDDEN = ("tunnel", "virtual")


class Around:
    """Remembers how many packets each interface had got, so that it can tell which of them hear something."""

    def __init__(self) -> None:
        self._counted: Mapping[str, int] = {}
        self._at = 0.0
        self._hears: frozenset[str] = frozenset()

    def facts(self, known: Mapping[str, Interface], name: str) -> dict[str, Any]:
        """Plain facts for the mark of the interface ``name``."""
        self._count()
        others = sorted((each for each in known.values() if _counts(each, name)), key=lambda each: each.name)[:_MOST]
        return {
            "others": [self._other(each) for each in others],
            "astray": astray(known, name),
            "tunnels": tunnels(known, name),
            "master": master(name),
            "joined": joined(name),
        }

    def _other(self, each: Interface) -> dict[str, Any]:
        return {"name": each.name, "kind": each.kind, "mac": each.mac.hex(":"), "link": each.link,
                "addresses": list(each.networks), "master": master(each.name), "hears": each.name in self._hears}

    def _count(self) -> None:
        """Every 10 s: who got packets meanwhile."""
        now = time.monotonic()
        if self._counted and now - self._at < HEARS_EVERY_S:
            return
        counted = {name: each.packets_recv for name, each in psutil.net_io_counters(pernic=True, nowrap=False).items()}
        before, self._counted, self._at = self._counted, counted, now
        self._hears = frozenset(name for name, count in counted.items() if count - before.get(name, count) >= HEARS_LEAST)


def _counts(each: Interface, name: str) -> bool:
    """Another interface that is up: not the loopback."""
    return each.up and each.name != name and not any(network.startswith("127.") for network in each.networks)


def astray(known: Mapping[str, Interface], name: str) -> list[dict[str, str]]:
    """Networks of this interface, or 'multicast', that the system would send out by another one.

    An interface with an address in the same network is not meant: that is a fault of its own. Multicast counts only where it
    would go into a tunnel or a virtual network.
    """
    mine = known.get(name)
    if mine is None or not mine.networks:
        return []
    found: dict[tuple[str, str], None] = {}
    for text in mine.networks:
        network = ipaddress.ip_interface(text).network
        for address in _spread(network):
            by = way(address, known)
            if by is not None and by.name != name and not _shares(by, network):
                found[str(network), by.name] = None
    by = way(_LIGHT_GROUP, known)
    if by is not None and by.name != name and by.kind in _HIDDEN:
        found["multicast", by.name] = None
    return [{"to": to, "by": by_name, "kind": known[by_name].kind} for to, by_name in found]


def way(address: str, known: Mapping[str, Interface]) -> Interface | None:
    """The interface by which a packet to an address would leave, None where there is no way. Sends nothing."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asker:
        try:
            asker.connect((address, _DISCARD))
            own = asker.getsockname()[0]
        except OSError:
            return None
    return next((each for each in known.values() if any(text.partition("/")[0] == own for text in each.networks)), None)


def _spread(network: Any) -> Iterator[str]:
    """An address in each quarter of a network: tunnels often take halves, for the narrower route wins (RFC 1812 5.2.4.3)."""
    if network.prefixlen > 29 or network.is_loopback:
        return
    quarter = network.num_addresses // 4
    for part in range(4):
        yield str(network.network_address + part * quarter + 1)


def _shares(by: Interface, network: Any) -> bool:
    own = (ipaddress.ip_interface(text).network for text in by.networks)
    return any(each.prefixlen < 31 and each.overlaps(network) for each in own)


def tunnels(known: Mapping[str, Interface], name: str, table: Path = ROUTES) -> list[dict[str, str]]:
    """Networks that the system's table sends into other tunnels and virtual networks, beyond those they have themselves; Linux.

    Columns as proc(5) and the kernel's fib_trie.c print them: hexadecimal, in the machine's own byte order.
    """
    if not LINUX:
        return []
    found = []
    try:
        lines = table.read_text().splitlines()[1:]
    except OSError:
        return []
    for line in lines:
        device, to, _, flags, _, _, _, mask, *_ = line.split()
        by = known.get(device)
        if by is None or device == name or by.kind not in _HIDDEN or not int(flags, 16) & _UP:
            continue
        network = str(ipaddress.ip_network((socket.ntohl(int(to, 16)), socket.ntohl(int(mask, 16)).bit_count())))
        if network not in {str(ipaddress.ip_interface(text).network) for text in by.networks}:
            found.append({"to": network, "by": device, "kind": by.kind})
    return found[:_MOST_ROUTES]


def joined(name: str, table: Path = MEMBERSHIPS) -> list[list[int]] | None:
    """Runs of sACN universes (first, last) that this laptop's programs asked for on an interface, None = not told; Linux.

    The kernel's igmp.c prints a line a device, below it its groups, in hexadecimal as above. Groups of light: E1.31-2018 9.3.1.
    """
    try:
        lines = table.read_text().splitlines()[1:] if LINUX else None
    except OSError:
        lines = None
    if lines is None:
        return None
    device, found = "", set[int]()
    for line in lines:
        words = line.split()
        if not line.startswith("\t"):
            device = words[1]
        elif device == name:
            group = socket.ntohl(int(words[0], 16))
            found |= {group & 0xFFFF} if group >> 16 == _LIGHT_GROUPS else set()
    runs: list[list[int]] = []
    for universe in sorted(found):
        if runs and universe == runs[-1][1] + 1:
            runs[-1][1] = universe
        else:
            runs.append([universe, universe])
    return runs[:_MOST_RUNS]


def master(name: str, sysfs: Path = SYSFS) -> str | None:
    """The bridge or bond that an interface is part of; Linux."""
    return (sysfs / name / "master").resolve().name if (sysfs / name / "master").exists() else None
