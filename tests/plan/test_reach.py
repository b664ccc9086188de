"""Can two talk. Against the worked examples of the standards and of an address handbook, and against Python's ``ipaddress``."""

from __future__ import annotations

from ipaddress import IPv4Address, IPv4Interface

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netwatch.network import masks
from netwatch.plan.reach import DEPENDS, NO, ONE_WAY, YES, Direction, broadcast, local, reach, usable
from netwatch.report.reach import bits, render


def box(text: str) -> IPv4Interface:
    return IPv4Interface(text)


def states(way: Direction) -> str:
    """'YES NO YES': unicast, broadcast, multicast."""
    return " ".join(each.state for each in way.ways)


@pytest.mark.parametrize(("host", "mask", "network"), [
    ("36.40.0.123", "255.255.0.0", "36.40.0.0"),
    ("128.99.4.123", "255.255.252.0", "128.99.4.0"),
    ("192.1.127.19", "255.255.255.224", "192.1.127.0"),
])
def test_hosts_of_rfc_950(host: str, mask: str, network: str) -> None:
    """RFC 950 appendix I: hosts of class A, B and C that ask for their mask (from memory)."""
    one = box(f"{host}/{mask}")
    assert str(one.network.network_address) == network
    assert usable(one)


@pytest.mark.parametrize(("host", "gateway", "mask"), [
    ("36.40.0.123", "36.40.0.62", "255.255.0.0"),
    ("128.99.4.123", "128.99.4.62", "255.255.252.0"),
    ("192.1.127.19", "192.1.127.20", "255.255.255.224"),
])
def test_a_gateway_is_a_neighbour(host: str, gateway: str, mask: str) -> None:
    """RFC 950 appendix I (from memory): host and gateway are on one subnet."""
    assert reach(box(f"{host}/{mask}"), box(f"{gateway}/{mask}")).whole


@pytest.mark.parametrize(("first", "last", "mask"), [
    ("192.24.0.0", "192.24.7.255", "255.255.248.0"),
    ("192.24.16.0", "192.24.31.255", "255.255.240.0"),
    ("192.24.8.0", "192.24.11.255", "255.255.252.0"),
    ("192.24.12.0", "192.24.15.255", "255.255.252.0"),
    ("192.24.32.0", "192.24.33.255", "255.255.254.0"),
    ("192.24.34.0", "192.24.35.255", "255.255.254.0"),
])
def test_clients_c1_to_c6_of_rfc_1519(first: str, last: str, mask: str) -> None:
    """RFC 1519 5.1 (the same in RFC 4632): blocks of six clients. Inside a block all are neighbours, outside none."""
    low, high = int(IPv4Address(first)), int(IPv4Address(last))
    one = box(f"{IPv4Address(low + 1)}/{mask}")
    assert reach(one, box(f"{IPv4Address(high - 1)}/{mask}")).whole
    assert [local(one, IPv4Address(each)) for each in (low - 1, low, high, high + 1)] == [False, True, True, False]
    assert str(broadcast(one)) == last


@pytest.mark.parametrize(("address", "network", "first", "last", "directed", "role"), [
    ("10.1.0.1/16", "10.1.0.0", "10.1.0.1", "10.1.255.254", "10.1.255.255", "host"),
    ("10.0.16.1/20", "10.0.16.0", "10.0.16.1", "10.0.31.254", "10.0.31.255", "host"),
    ("10.0.0.65/26", "10.0.0.64", "10.0.0.65", "10.0.0.126", "10.0.0.127", "host"),
    ("10.1.0.1/26", "10.1.0.0", "10.1.0.1", "10.1.0.62", "10.1.0.63", "host"),
    ("172.16.5.130/26", "172.16.5.128", "172.16.5.129", "172.16.5.190", "172.16.5.191", "host"),
    ("10.20.30.40/20", "10.20.16.0", "10.20.16.1", "10.20.31.254", "10.20.31.255", "host"),
    ("192.168.0.200/29", "192.168.0.200", "192.168.0.201", "192.168.0.206", "192.168.0.207", "network"),
    ("192.168.1.0/23", "192.168.0.0", "192.168.0.1", "192.168.1.254", "192.168.1.255", "host"),
    ("192.168.0.255/23", "192.168.0.0", "192.168.0.1", "192.168.1.254", "192.168.1.255", "host"),
    ("192.168.1.255/23", "192.168.0.0", "192.168.0.1", "192.168.1.254", "192.168.1.255", "broadcast"),
    ("10.0.0.255/8", "10.0.0.0", "10.0.0.1", "10.255.255.254", "10.255.255.255", "host"),
    ("2.0.0.255/8", "2.0.0.0", "2.0.0.1", "2.255.255.254", "2.255.255.255", "host"),
    ("169.254.255.255/16", "169.254.0.0", "169.254.0.1", "169.254.255.254", "169.254.255.255", "broadcast"),
])
def test_a_handbooks_table(address: str, network: str, first: str, last: str, directed: str, role: str) -> None:
    """An address handbook's tables (network, first, last, broadcast); its misprint for 10.1.0.1/26 is put right."""
    one = box(address)
    assert (str(one.network.network_address), str(broadcast(one))) == (network, directed)
    assert masks.role(int(one.ip), one.network.prefixlen) == role
    assert usable(one) == (role == "host")
    ends = [box(f"{each}/{one.network.prefixlen}") for each in (first, last)]
    assert reach(*ends).whole


def test_two_boxes_with_31_bits() -> None:
    """RFC 3021 2.1: both addresses of a /31 are hosts, and there is no directed broadcast."""
    found = reach(box("192.168.10.0/31"), box("192.168.10.1/31"))
    assert states(found.there) == states(found.back) == f"{YES} {NO} {YES}"
    assert {found.there.broadcast.why, found.back.broadcast.why} == {"none"}


def test_unequal_masks_differ_each_way() -> None:
    """RFC 1122 3.3.1.1: each host decides by its own mask; the broadcast of one is one box of the other's network."""
    found = reach(box("10.0.1.5/24"), box("10.0.2.5/255.255.0.0"))
    assert states(found.there) == f"{NO} {NO} {YES}"
    assert states(found.back) == f"{ONE_WAY} {NO} {YES}"
    assert [way.why for way in (found.there.broadcast, found.back.broadcast)] == ["one-box", "elsewhere"]
    assert (found.common, found.whole) == (16, False)


def test_a_broadcast_may_be_the_others_own_address() -> None:
    found = reach(box("10.0.1.5/24"), box("10.0.1.255/16"))
    assert found.there.broadcast.state == DEPENDS


@pytest.mark.parametrize(("a", "b", "why"), [
    ("10.0.0.5/24", "10.0.0.5/24", "same"),
    ("10.0.0.255/24", "10.0.0.5/24", "sender"),
    ("10.0.0.5/24", "10.0.0.0/24", "receiver"),
    ("10.0.0.255/24", "10.0.0.0/24", "both"),
])
def test_nothing_works_with_an_address_that_can_not_be(a: str, b: str, why: str) -> None:
    """RFC 1122 3.2.1.3 (d), (e): not to be used as a source."""
    found = reach(box(a), box(b))
    assert {(way.state, way.why) for way in found.there.ways} == {(NO, why)}


ADDRESSES, LENGTHS = st.integers(0x0A000000, 0x0A0003FF), st.integers(8, 32)
INTERFACES = st.builds(lambda value, length: IPv4Interface((value, length)), ADDRESSES, LENGTHS)


@given(INTERFACES, INTERFACES)
def test_laws(a: IPv4Interface, b: IPv4Interface) -> None:
    """The question turned around is the answer turned around; the proposed mask makes neighbours; the text fits."""
    found, turned = reach(a, b), reach(b, a)
    assert (found.there, found.back, found.common) == (turned.back, turned.there, turned.common)
    assert found.there.local == (b.ip in a.network)
    if found.common is not None:
        assert reach(IPv4Interface((a.ip, found.common)), IPv4Interface((b.ip, found.common))).whole
    shown = render(found)
    assert max(map(len, shown.splitlines())) <= 80
    assert bits(int(a.ip), a.network.prefixlen) in shown


def test_the_bits() -> None:
    """As in RFC 950 2.1: the mask cuts between network and host."""
    assert bits(0x0A000105, 24) == "00001010.00000000.00000001|00000101"
    assert bits(0x0A000105, 20) == "00001010.00000000.0000|0001.00000101"
    assert bits(0x0A000105, 32) == "00001010.00000000.00000001.00000101"
