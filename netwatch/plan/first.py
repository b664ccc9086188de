"""A first plan from what was heard: people add places and take strangers out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from ipaddress import IPv4Address, IPv4Network

from netwatch.network import subnets
from netwatch.network.leases import Server
from netwatch.network.network import Network
from netwatch.plan.heard import Heard, boxes, unique
from netwatch.plan.rig import Device, Dhcp, Plan, Subnet
from netwatch.words import plan as words

_HOME = 16
"""Bits that addresses of one rig mostly share from the left, as masks are rarely heard (common practice, no source)."""


def first_plan(network: Network, now: int) -> tuple[Plan, list[str]]:
    """The plan, and sentences on what could not be heard; ``now`` in ns."""
    heard = boxes(network, now)
    telling = ("addresses", "sends", "asks", "outputs", "asked_dhcp")
    found = [each for each in heard if not each.ours and any(getattr(each, word) for word in telling)]
    masks = _subnets(network)
    server, querier = _server(network, found), _querier(network)
    devices = tuple(_device(each, name, server) for each, name in zip(found, unique(_name(each) for each in found), strict=True))
    notes = [words.FIRST]
    notes += [] if masks else [words.NO_MASK]
    notes += [] if server is None else [words.pool(str(server), [str(each) for each in _given(network, server)])]
    others = sorted({each.address for each in network.leases.servers.values()} - {str(server)})
    notes += [words.other_servers(str(server), others)] if others else []
    notes += [words.ALONE] if any(not each.hears_all for each in found) else []
    plan = Plan(
        devices=devices, subnets=masks,
        dhcp=None if server is None else Dhcp(server=server), querier=querier,
    )
    return plan, notes


def _name(box: Heard) -> str:
    if box.names:
        return box.name
    short = box.mac[-5:].replace(":", "") if box.mac else ""
    return " ".join(each for each in (box.maker or "box", short or box.name) if each)


def _device(box: Heard, name: str, server: IPv4Address | None) -> Device:
    address = IPv4Address(box.addresses[0]) if box.addresses else None
    dhcp = box.asked_dhcp and address != server
    priorities = {each for each in box.sends.values() if each is not None}
    sends = {*box.sends, *(box.lists or ())}
    return Device(
        name=name, mac=box.mac, address=None if dhcp or (address and address in subnets.LINK_LOCAL) else address, dhcp=dhcp,
        sends=tuple(sorted(sends)), receives=tuple(sorted({*box.asks, *(box.outputs or ())})),
        priority=priorities.pop() if len(priorities) == 1 else None,
    )


def _subnets(network: Network) -> tuple[Subnet, ...]:
    """Told by DHCP or by this laptop; its own tunnels' and point-to-point masks say nothing of a rig."""
    heard: dict[IPv4Network, set[int]] = {}
    for segment in network.segments:
        for pair in (*subnets.given(network, segment), *subnets.own(network, segment)):
            if 0 < pair[1] < 31:
                heard.setdefault(IPv4Network(pair), set()).add(_vlan(network, segment))
    known = {each: min(vlans) if len(vlans) == 1 else 0 for each, vlans in heard.items()}
    return tuple(Subnet(network=each, vlan=vlan or None) for each, vlan in sorted(known.items()))


def _vlan(network: Network, segment: int) -> int:
    """By its tags, or as the switch names the VLAN of this port (LLDP); 0 = not known."""
    port, tag = segment >> 24, segment >> 12 & 0xFFF
    said = network.links.switch.get(port)
    return tag or (said.vlan or 0 if said is not None else 0)


def _server(network: Network, found: list[Heard]) -> IPv4Address | None:
    """The server that lives where most boxes do; of several there, the one that most clients chose."""
    homes = Counter(int(IPv4Address(address)) >> _HOME for box in found for address in box.addresses[:1])

    def rank(server: Server) -> tuple[int, int, int]:
        return homes[int(IPv4Address(server.address)) >> _HOME], len(server.clients), -server.first

    best = max(network.leases.servers.values(), key=rank, default=None)
    return None if best is None else IPv4Address(best.address)


def _given(network: Network, server: IPv4Address) -> list[IPv4Address]:
    """Addresses that it gave out or that clients asked of it."""
    given: Iterable[str] = (
        address for each in network.leases.servers.values() if each.address == str(server) for address in each.given
    )
    return sorted({IPv4Address(address) for address in given})


def _querier(network: Network) -> IPv4Address | None:
    """The one that asked most; 0.0.0.0 is a switch that fills in and names no box."""
    asked = Counter({each.address: each.queries for each in network.multicast.queriers.values() if each.address != "0.0.0.0"})
    return IPv4Address(asked.most_common(1)[0][0]) if asked else None
