"""Subnets that somebody told: masks are in DHCP answers and in this laptop's own settings, on no other packet."""

from __future__ import annotations

from collections.abc import Iterator
from ipaddress import IPv4Address, IPv4Interface, IPv4Network
from typing import TYPE_CHECKING

from netwatch.network import masks

if TYPE_CHECKING:
    from netwatch.network.network import Network

LINK_LOCAL = IPv4Network("169.254.0.0/16")
_TAGS = 0xFFFFFF
"""The part of a segment that holds its VLANs."""


def given(network: Network, segment: int) -> Iterator[tuple[int, int]]:
    """(network, prefix length) as DHCP servers of a segment give them out."""
    for (where, _), server in network.answers.items():
        for address, answer in server.answers.items() if where == segment else ():
            prefix = masks.prefix_of(answer.mask) if answer.mask else None
            if prefix is not None:
                yield masks.network_of(int(IPv4Address(address)), prefix), prefix


def own(network: Network, segment: int) -> Iterator[tuple[int, int]]:
    """The same of this laptop's own addresses."""
    for each in own_addresses(network, segment):
        yield int(each.network.network_address), each.network.prefixlen


def own_addresses(network: Network, segment: int) -> tuple[IPv4Interface, ...]:
    """This laptop's own addresses on a segment; they belong to the untagged one."""
    state = network.vantage.ports.get(segment >> 24)
    if state is None or segment & _TAGS:
        return ()
    return tuple(each for each in state.laptop.addresses if each.ip not in LINK_LOCAL and not each.ip.is_loopback)
