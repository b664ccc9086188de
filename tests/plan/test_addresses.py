"""Addresses and masks as people write them. Against Python's ``ipaddress`` and the C library's reading of zeros in front."""

from __future__ import annotations

import socket
from collections.abc import Callable
from ipaddress import IPv4Address, IPv4Interface, IPv4Network
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netwatch.plan import addresses
from netwatch.plan.addresses import BadAddress


@given(st.integers(0, 0xFFFFFFFF), st.integers(1, 32))
def test_what_is_well_written_is_read_as_python_reads_it(value: int, length: int) -> None:
    text = str(IPv4Address(value))
    assert addresses.address(text) == IPv4Address(text)
    subnet = IPv4Network((value, length), strict=False)
    assert addresses.network(str(subnet)) == addresses.network(subnet.with_netmask) == subnet
    assert addresses.prefix(str(subnet.netmask)) == addresses.prefix(str(length)) == length


@pytest.mark.parametrize("text", ["10.0.1.5/24", "10.0.1.5/255.255.255.0", " 10.0.1.5/24 "])
def test_a_mask_may_be_a_length_or_four_numbers(text: str) -> None:
    assert addresses.interface(text) == IPv4Interface("10.0.1.5/24")


def test_zeros_in_front_are_told_as_the_c_library_reads_them() -> None:
    """inet_aton (POSIX.1-2017): a number that begins with 0 is octal."""
    read = socket.inet_ntoa(socket.inet_aton("010.000.000.005"))
    assert read == "8.0.0.5"
    with pytest.raises(BadAddress, match=rf"read as {read}; write 10\.0\.0\.5$"):
        addresses.address("010.000.000.005")


@pytest.mark.parametrize(("read", "text", "said"), [
    (addresses.address, "", "four numbers with dots"),
    (addresses.address, "10.0.0", "four numbers with dots"),
    (addresses.address, "10.0.0.5.6", "four numbers with dots"),
    (addresses.address, "10,0,0,5", "four numbers with dots"),
    (addresses.address, "10.0.0.x", "four numbers with dots"),
    (addresses.address, "10.0.0.\N{ARABIC-INDIC DIGIT FIVE}", "four numbers with dots"),
    (addresses.address, "10.0.0.256", "256 is above 255"),
    (addresses.address, "1" * 5000 + ".0.0.1", "is above 255"),
    (addresses.address, "2.0.0.5/8", "holds a mask too; write 2.0.0.5 alone here"),
    (addresses.address, "10.0.0.08", "another number; write 10.0.0.8"),
    (addresses.address, "10.0.0.01", "base 8; write 10.0.0.1"),
    (addresses.host, "0.0.0.0", "no address yet"),
    (addresses.host, "127.0.0.1", "never leaves a computer"),
    (addresses.host, "239.255.0.1", "is a multicast group"),
    (addresses.host, "255.255.255.255", "is reserved"),
    (addresses.interface, "10.0.0.5", "lacks its mask; write 10.0.0.5/24"),
    (addresses.interface, "10.0.0.5/", "lacks its mask"),
    (addresses.interface, "10.0.0.5/33", "/33 does not exist"),
    (addresses.interface, "10.0.0.5/0", "/0 does not exist"),
    (addresses.interface, "10.0.0.5/255.0.255.0", "255.0.255.0 is no mask"),
    (addresses.interface, "10.0.0.5/0.0.0.255", "turned around; write 255.255.255.0"),
    (addresses.interface, "fe80::1/64", "four numbers with dots"),
    (addresses.network, "2.0.0.5/8", "the subnet is 2.0.0.0/8"),
    (addresses.network, "10.0.0.0", "lacks its mask"),
])
def test_a_slip_is_one_sentence_with_what_was_meant(read: Callable[[str], Any], text: str, said: str) -> None:
    with pytest.raises(BadAddress) as caught:
        read(text)
    assert said in str(caught.value)
    assert len(str(caught.value)) < 130
    assert not str(caught.value).endswith(".")
