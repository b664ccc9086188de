"""Which interface to listen on when nobody said: the one on which light, ARP or DHCP is heard."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from netwatch.packets.batch import DIRECTION_OUT, Mark, PacketBatch, Port
from netwatch.packets.live import LiveSource
from netwatch.packets.machine import CannotListen, Interface, link_type

LISTEN_S = 3.0

Heard: TypeAlias = Callable[[PacketBatch], Mapping[str, npt.NDArray[np.bool_]]]
"""For each kind of traffic that counts (as 'light', 'ARP', 'DHCP'), most telling first: which rows are of it."""


@dataclass(frozen=True, slots=True)
class Choice:
    """The interface to go on with."""

    name: str
    why: str
    """One sentence."""
    heard: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    """Frames of each kind by interface."""


def candidates(known: Mapping[str, Interface]) -> list[str]:
    """Interfaces worth listening to; ``CannotListen`` when there is none."""
    names = sorted(name for name, each in known.items() if _worth(each))
    if not names:
        raise CannotListen("No network interface of this laptop is up: plug in a cable or join the Wi-Fi, then start again.")
    return names[:64]


def choose(source: LiveSource, heard: Heard, seconds: float = LISTEN_S) -> Choice:
    """Listen on all ports of a source for a moment and pick one; own frames don't count, and what came is used up."""
    counts: dict[str, dict[str, int]] = {port.name: {} for port in source.ports}
    linked: set[str] = set()
    for item in source.items(seconds):
        if isinstance(item, Mark):
            if item.facts and item.facts.get("link"):
                linked.add(source.ports[item.port].name)
            continue
        for kind, rows in heard(item).items():
            found = np.bincount(item.port[rows & (item.direction != DIRECTION_OUT)], minlength=len(source.ports))
            for port, count in zip(source.ports, found.tolist(), strict=True):
                counts[port.name][kind] = counts[port.name].get(kind, 0) + count
    return pick(source.ports, counts, linked, seconds)


def pick(ports: tuple[Port, ...], counts: Mapping[str, Mapping[str, int]], linked: Collection[str], seconds: float) -> Choice:
    """The port with most of the first kind, then of the next ones; where nothing was heard, one with a link, wired first."""
    def rank(port: Port) -> tuple[int, ...]:
        return (*counts[port.name].values(), port.name in linked, port.kind == "wired", len(port.networks))

    best, *others = sorted(ports, key=rank, reverse=True)
    told = ", ".join(f"{count} {kind}" for kind, count in counts[best.name].items() if count)
    if told:
        fewer = ", ".join(port.name for port in others if any(counts[port.name].values()))
        why = f"{told} frames came in {seconds:g} s" + (f", fewer that count on {fewer}." if fewer else ".")
    else:
        state = "has a link" if best.name in linked else "is up"
        why = f"it {state}, and no light, ARP or DHCP came on any interface in {seconds:g} s; choose another with --on NAME."
    return Choice(best.name, f"Listening on {best.name}: {why}", counts)


def _worth(interface: Interface) -> bool:
    """Up, not loopback, and its frames can be read."""
    if not interface.up or interface.name == "lo" or any(each.startswith("127.") for each in interface.networks):
        return False
    try:
        link_type(interface.name)
    except (CannotListen, OSError):
        return False
    return True
