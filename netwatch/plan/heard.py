"""What was heard of each box, as a plan would put it. Reads the model; judges nothing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from netwatch.decode.tables import E131 as SACN
from netwatch.decode.text import address_text, mac_text
from netwatch.network.network import Network
from netwatch.network.vendors import vendor
from netwatch.plan.universes import ARTNET, E131, Light, group

_ORIGINS = ("sACN", "Art-Net", "DHCP", "LLDP")
"""Where names come from, the best first."""


@dataclass(slots=True)
class Heard:
    """One box: all segments and cards of one MAC together; of light without a MAC, one address."""

    mac: str
    addresses: list[str] = field(default_factory=list)
    """Those that it uses now, the newest first."""
    names: dict[str, None] = field(default_factory=dict)
    """The best first."""
    ours: bool = False
    asked_dhcp: bool = False
    sends: dict[Light, int | None] = field(default_factory=dict)
    """With the newest priority."""
    lists: frozenset[Light] | None = None
    """All that it says that it sends; None = it does not say."""
    outputs: frozenset[Light] | None = None
    """What it says that it puts out; None = it does not say."""
    asks: dict[Light, None] = field(default_factory=dict)
    """Universes whose groups it asked for and did not leave."""
    asked: int = 0
    """ns: when it first did."""
    hears_all: bool = True
    """From where we listen all that it sends and asks for is seen."""
    first: int = 0
    last: int = 0

    @property
    def name(self) -> str:
        """Its best name; its maker, address or MAC where it tells none."""
        return next(iter(self.names), "") or next((each for each in (*self.addresses, self.mac) if each), "")

    @property
    def maker(self) -> str:
        return vendor(self.mac) if self.mac else ""


def boxes(network: Network, now: int) -> list[Heard]:
    """Every box, by first appearance; ``now`` in ns."""
    found: dict[str, Heard] = {}
    _from_claims(network, found)
    _from_streams(network, found)
    _from_nodes(network, now, found)
    _from_groups(network, found)
    for each in found.values():
        each.addresses = list(dict.fromkeys(each.addresses))
    return sorted(found.values(), key=lambda each: (each.first, each.mac, each.addresses))


def _box(found: dict[str, Heard], mac: str, address: str, time: int) -> Heard:
    box = found.setdefault(mac or address, Heard(mac, first=time))
    box.first, box.last = min(box.first, time) if time else box.first, max(box.last, time)
    if address:
        box.addresses.append(address)
    return box


def _from_claims(network: Network, found: dict[str, Heard]) -> None:
    held = network.claims.addresses()
    clients = {mac: client.address for (_, mac), client in network.leases.clients.items() if client.chose is not None}
    for (segment, mac), known in network.claims.boxes.items():
        text = mac_text(mac)
        box = _box(found, text, "", known.first)
        claims = held.get((segment, mac), [])
        box.last = max([box.last, known.last, *(int(network.claims.last[claim]) for claim, _ in claims)])
        box.addresses += _current(network, claims)
        box.names |= dict.fromkeys(known.names[each] for each in _ORIGINS if known.names.get(each))
        box.ours |= mac in network.own(segment)
        box.asked_dhcp |= text in clients
        box.addresses += [clients[text]] if clients.get(text) else []
        box.hears_all &= network.where(segment) == "mirror"


def _current(network: Network, claims: list[tuple[int, int]]) -> list[str]:
    """Addresses by their first use, newest first, without those that were last used before the newest began: it moved."""
    order = sorted(claims, key=lambda each: -int(network.claims.first[each[0]]))
    if not order:
        return []
    begun = int(network.claims.first[order[0][0]])
    known = [each for each in order if network.presence.last(network.claims, each[0]) >= begun]
    return [address_text(address) for _, address in known]


def _from_streams(network: Network, found: dict[str, Heard]) -> None:
    streams = network.streams
    used = np.flatnonzero(streams.table.used[: streams.table.size])
    for flow in used[np.argsort(streams.last[used], kind="stable")].tolist():
        segment, mac, address = int(streams.segment[flow]), int(streams.mac[flow]), address_text(int(streams.src[flow]))
        box = _box(found, mac_text(mac) if mac else "", "" if mac else address, int(streams.first[flow]))
        box.last = max(box.last, int(streams.last[flow]))
        sacn = streams.protocol[flow] == SACN
        light = Light(E131 if sacn else ARTNET, int(streams.universe[flow]))
        box.sends[light] = int(streams.priority[flow]) if sacn else None
        name = network.flow_name(flow)
        if name:
            box.names = {name: None, **box.names}
        listing = network.announced.get((segment, network.source_id(flow))) if sacn else None
        if listing is not None and listing.complete:
            told = {Light(E131, number) for number in listing.universes - _synchronization(network)}
            box.lists = (box.lists or frozenset()) | told
        box.hears_all &= network.where(segment) == "mirror"


def _synchronization(network: Network) -> set[int]:
    """Universes that carry synchronization: sources list them, and receivers ask for them (E1.31-2018 8.5, 11.2)."""
    streams = network.streams
    used = streams.table.used[: streams.table.size]
    return set(streams.sync[: streams.table.size][used].tolist()) - {0}


def _from_nodes(network: Network, now: int, found: dict[str, Heard]) -> None:
    """What nodes say of themselves; a proxy's word on others is left out."""
    for bind in network.nodes.current(now):
        if bind.own_word:
            box = _box(found, bind.mac, "" if bind.mac else bind.src, bind.first)
            box.last = max(box.last, bind.last)
            told = frozenset(Light(E131 if number in bind.follows_e131 else ARTNET, number) for number in bind.outputs)
            box.outputs = (box.outputs or frozenset()) | told
            box.names |= dict.fromkeys(name for name in (bind.long_name, bind.short_name) if name)


def _from_groups(network: Network, found: dict[str, Heard]) -> None:
    synchronization = _synchronization(network)
    for (_, address), each in network.multicast.groups.items():
        light = _universe(address)
        if light is not None and light.number in synchronization:
            continue
        for mac, member in each.listening.items() if light else ():
            box = _box(found, mac, "", member.since or member.reported)
            if light is not None:
                box.asks[light] = None
                box.asked = min(box.asked or member.reported, member.since or member.reported)


def _universe(address: str) -> Light | None:
    """The universe of a group (E1.31-2018 9.3.1)."""
    first, second, high, low = (int(part) for part in address.split("."))
    number = high << 8 | low
    return Light(E131, number) if (first, second) == (239, 255) and 1 <= number <= 63_999 and group(number) == address else None


def unique(names: Iterable[str]) -> list[str]:
    """The same names, numbered where they stand twice."""
    out: list[str] = []
    taken: set[str] = set()
    for name in names:
        fresh, number = name, 2
        while fresh in taken:
            fresh, number = f"{name} {number}", number + 1
        taken.add(fresh)
        out.append(fresh)
    return out
