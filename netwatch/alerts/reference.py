"""What is known of a segment's subnets: from the plan, from DHCP, from this laptop. Masks are on no other packet."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from ipaddress import IPv4Network

from netwatch.network import masks, subnets
from netwatch.network.network import Network
from netwatch.network.subnets import LINK_LOCAL
from netwatch.plan.expected import Expected

_LINK_LOCAL = int(LINK_LOCAL.network_address)


@dataclass(frozen=True, slots=True)
class Known:
    """One subnet, and who says so: 'plan', 'dhcp' or 'laptop'."""

    network: int
    prefix: int
    how: str

    def holds(self, address: int) -> bool:
        """Is the address one of this subnet?"""
        return masks.network_of(address, self.prefix) == self.network

    @property
    def text(self) -> str:
        """'10.0.0.0/16'."""
        return masks.text(self.network, self.prefix)


def expected_of(network: Network) -> Expected | None:
    """The plan, where there is one."""
    return network.expected if isinstance(network.expected, Expected) else None


def known_subnets(network: Network, segment: int) -> tuple[Known, ...]:
    """Surest first; each subnet once."""
    found: dict[tuple[int, int], str] = {}
    told = (("plan", _planned(network)), ("dhcp", subnets.given(network, segment)), ("laptop", subnets.own(network, segment)))
    for how, pairs in told:
        for net, prefix in pairs:
            if 0 < prefix < 32:
                found.setdefault((net, prefix), how)
    return tuple(Known(net, prefix, how) for (net, prefix), how in found.items())


def of(known: tuple[Known, ...], address: int) -> list[Known]:
    """The subnets that hold an address: surest source first, and of one source all that differ."""
    here = [each for each in known if each.holds(address)]
    return [each for each in here if each.how == here[0].how]


def _planned(network: Network) -> Iterator[tuple[int, int]]:
    expected = expected_of(network)
    for text in expected.networks if expected else ():
        net = IPv4Network(text)
        yield int(net.network_address), net.prefixlen


def special(address: int) -> str:
    """'this-network' (0/8), 'loopback' (127/8), 'group' (224/4), 'reserved' (240/4), '' = none of them (RFC 6890)."""
    first = address >> 24
    if first == 0:
        return "this-network"
    if first == 127:
        return "loopback"
    return "" if first < 224 else "group" if first < 240 else "reserved"


def is_link_local(address: int) -> bool:
    """Is it in 169.254/16?"""
    return masks.network_of(address, 16) == _LINK_LOCAL
