"""Arithmetic of masks against the standard library's ``ipaddress``, and against worked examples."""

from __future__ import annotations

from ipaddress import AddressValueError, IPv4Address, IPv4Interface, IPv4Network, NetmaskValueError

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.network import masks

ADDRESSES = st.integers(0, 0xFFFFFFFF)
PREFIXES = st.integers(0, 32)


def number(text: str) -> int:
    return int(IPv4Address(text))


@given(ADDRESSES, PREFIXES)
@settings(max_examples=200, deadline=None)
def test_network_and_broadcast(address, prefix):
    network = IPv4Network((address, prefix), strict=False)
    assert masks.network_of(address, prefix) == int(network.network_address)
    assert masks.broadcast_of(address, prefix) == int(network.broadcast_address)
    assert masks.text(masks.network_of(address, prefix), prefix) == str(network)


@pytest.mark.parametrize("prefix", range(33))
def test_prefix_of_every_mask(prefix):
    assert masks.prefix_of(str(IPv4Network((0, prefix)).netmask)) == prefix


@given(ADDRESSES)
@settings(max_examples=200, deadline=None)
def test_masks_with_gaps_are_none(bits):
    """The library also takes host masks such as 0.0.0.255, which are no net masks."""
    mask = str(IPv4Address(bits))
    try:
        prefix = IPv4Network(f"0.0.0.0/{mask}").prefixlen
        known = prefix if str(IPv4Network((0, prefix)).netmask) == mask else None
    except (NetmaskValueError, AddressValueError):
        known = None
    assert masks.prefix_of(mask) == known


@given(ADDRESSES, ADDRESSES)
@settings(max_examples=200, deadline=None)
def test_common_prefix(one, other):
    longest = max(p for p in range(33) if IPv4Address(other) in IPv4Network((one, p), strict=False))
    assert masks.common(one, other) == longest


@given(ADDRESSES, st.integers(1, 30))
@settings(max_examples=200, deadline=None)
def test_the_mask_is_among_those_that_fit_the_broadcast(address, prefix):
    network = IPv4Network((address, prefix), strict=False)
    found = masks.inferred(address, int(network.broadcast_address))
    if address == int(network.broadcast_address):
        assert found is None
        return
    fits = [p for p in range(31) if IPv4Network((address, p), strict=False).broadcast_address == network.broadcast_address]
    assert found == (fits[0], fits[-1])
    assert fits == list(range(found[0], found[1] + 1))


@pytest.mark.parametrize(
    ("address", "broadcast", "fits"),
    [
        ("10.0.0.5", "10.255.255.255", (8, 8)),
        ("192.168.1.20", "192.168.1.255", (23, 24)),
        ("10.0.0.5", "10.0.0.255", (24, 24)),
        ("10.0.0.5", "2.255.255.255", None),
        ("10.0.0.5", "10.0.0.7", (29, 30)),
    ],
)
def test_broadcasts_by_hand(address, broadcast, fits):
    """Worked by hand: a directed broadcast has all host bits set (RFC 1122 3.2.1.3)."""
    assert masks.inferred(number(address), number(broadcast)) == fits


# From a table of worked examples, of which a certification handbook prints the first rows; RFC 3021 for /31.
EXAMPLES = [
    ("10.1.0.1/16", "10.1.0.0", "10.1.255.255", "host"),
    ("10.0.16.1/20", "10.0.16.0", "10.0.31.255", "host"),
    ("10.0.0.65/26", "10.0.0.64", "10.0.0.127", "host"),
    ("10.1.0.1/26", "10.1.0.0", "10.1.0.63", "host"),
    ("172.16.5.130/26", "172.16.5.128", "172.16.5.191", "host"),
    ("10.20.30.40/20", "10.20.16.0", "10.20.31.255", "host"),
    ("192.168.0.200/29", "192.168.0.200", "192.168.0.207", "network"),
    ("192.168.1.0/23", "192.168.0.0", "192.168.1.255", "host"),
    ("192.168.0.255/23", "192.168.0.0", "192.168.1.255", "host"),
    ("192.168.1.255/23", "192.168.0.0", "192.168.1.255", "broadcast"),
    ("10.0.0.255/8", "10.0.0.0", "10.255.255.255", "host"),
    ("2.0.0.255/8", "2.0.0.0", "2.255.255.255", "host"),
    ("169.254.255.255/16", "169.254.0.0", "169.254.255.255", "broadcast"),
    ("192.168.10.0/31", "192.168.10.0", "192.168.10.1", "host"),
]


@pytest.mark.parametrize(("where", "network", "broadcast", "role"), EXAMPLES)
def test_worked_examples(where, network, broadcast, role):
    interface = IPv4Interface(where)
    address, prefix = int(interface.ip), interface.network.prefixlen
    assert masks.network_of(address, prefix) == number(network)
    assert masks.broadcast_of(address, prefix) == number(broadcast)
    assert masks.role(address, prefix) == role
    inside = interface.network.network_address < interface.ip < interface.network.broadcast_address
    assert (role == "host") == (inside or prefix == 31)
