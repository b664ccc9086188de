"""The questions as they stand on the wire: against scapy's and dpkt's dissectors, and the standards' own layouts."""

from __future__ import annotations

from ipaddress import IPv4Address

import dpkt
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scapy.layers.dhcp import BOOTP, DHCP
from scapy.layers.inet import IP, UDP
from scapy.layers.l2 import ARP, Ether

from netwatch.asking import frames

MAC = bytes.fromhex("020000000063")
OWN = IPv4Address("10.77.0.99")


def whole(frame: bytes) -> Ether:
    """Read by scapy; its checksums are those that scapy computes itself (RFC 791, RFC 768)."""
    read = Ether(frame)
    again = Ether(frame)
    for layer in (IP, UDP):
        if layer in again:
            del again[layer].chksum
    assert bytes(again) == frame
    assert (read.dst, read.src) == ("ff:ff:ff:ff:ff:ff", "02:00:00:00:00:63")
    assert len(frame) >= 60
    return read


def test_discover() -> None:
    """RFC 2131 table 5: no address of ours, broadcast bit, no server, nothing requested."""
    read = whole(frames.dhcp(frames.DISCOVER, MAC, 0x11223344))
    assert (read[IP].src, read[IP].dst, read[UDP].sport, read[UDP].dport) == ("0.0.0.0", "255.255.255.255", 68, 67)
    bootp, options = read[BOOTP], {each[0]: each[1] for each in read[DHCP].options if isinstance(each, tuple)}
    assert (bootp.op, bootp.htype, bootp.hlen, bootp.hops, bootp.xid, int(bootp.flags)) == (1, 1, 6, 0, 0x11223344, 0x8000)
    assert (bootp.ciaddr, bootp.yiaddr, bootp.giaddr, bootp.chaddr[:6]) == ("0.0.0.0", "0.0.0.0", "0.0.0.0", MAC)
    assert options == {"message-type": 1, "param_req_list": [1, 3, 28, 51, 54, 58, 59]}
    assert len(read[UDP].payload) == 300
    seen = dpkt.dhcp.DHCP(bytes(read[UDP].payload))
    assert (seen.magic, dict(seen.opts)[53]) == (0x63825363, b"\x01")


def test_inform() -> None:
    """RFC 2131 table 5: our address in ciaddr; the answer comes to it."""
    read = whole(frames.dhcp(frames.INFORM, MAC, 7, OWN))
    assert (read[IP].src, read[BOOTP].ciaddr, int(read[BOOTP].flags)) == ("10.77.0.99", "10.77.0.99", 0)
    assert ("message-type", 8) in read[DHCP].options


def test_artpoll() -> None:
    """The 14 octets of Art-Net 4 p.17, flags and priority 0: 41 72 74 2d 4e 65 74 00 00 20 00 0e 00 00."""
    read = whole(frames.artpoll(MAC, OWN, IPv4Address("10.77.255.255")))
    assert (read[IP].src, read[IP].dst, read[UDP].sport, read[UDP].dport) == ("10.77.0.99", "10.77.255.255", 6454, 6454)
    assert bytes(read[UDP].payload)[:14] == bytes.fromhex("4172742d4e6574000020000e0000")
    assert read[UDP].len == 8 + 14


@given(st.integers(1, 0xFFFFFFFE).map(IPv4Address))
def test_arp_probe(address: IPv4Address) -> None:
    """RFC 5227 2.1.1: the sender address is zero, the target MAC should be, so no cache learns anything."""
    frame = frames.arp_probe(MAC, address)
    read = Ether(frame)[ARP]
    assert (read.op, read.hwsrc, read.psrc, read.hwdst, read.pdst) == (
        1, "02:00:00:00:00:63", "0.0.0.0", "00:00:00:00:00:00", str(address),
    )  # fmt: skip
    seen = dpkt.ethernet.Ethernet(frame).data
    assert (seen.spa, seen.tpa, seen.op) == (bytes(4), address.packed, 1)


def test_there_is_no_way_to_request_or_to_send_levels() -> None:
    """A REQUEST would take an address (RFC 2131 3.1), an ArtDmx or an E1.31 packet would change light."""
    made = [name for name in vars(frames) if callable(getattr(frames, name)) and not name.startswith("_")]
    assert {name for name in made if getattr(getattr(frames, name), "__module__", "") == frames.__name__} == {
        "dhcp",
        "artpoll",
        "arp_probe",
    }
    assert {value for name, value in vars(frames).items() if name in ("DISCOVER", "INFORM")} == {1, 8}


@pytest.mark.parametrize("value", [0, 1, 0xFFFF_FFFF])
def test_the_number_of_a_question_is_its_own(value: int) -> None:
    assert whole(frames.dhcp(frames.DISCOVER, MAC, value))[BOOTP].xid == value
