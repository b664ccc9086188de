"""LLDP against scapy's builder as an oracle (IEEE 802.1AB from memory)."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scapy.contrib import lldp as scapy_lldp
from scapy.layers.l2 import Ether

from netwatch.decode.lldp import read
from netwatch.decode.reader import CUT, SHORT, Reader, Unreadable
from netwatch.decode.tables import Lldp
from tests.decode.good import HEAD, LLDP, octets


def parse(payload: bytes, cut: bool = False) -> Lldp:
    return read(Reader(payload, cut), HEAD)


def test_what_a_switch_says() -> None:
    unit = parse(LLDP)
    assert (unit.chassis, unit.port_id, unit.ttl) == ("02:77:00:00:00:fe", "g1", 120)
    assert (unit.port_text, unit.system_name, unit.vlan) == ("mill 12", "gate-house", 12)


def test_the_same_bytes_in_scapys_dissector() -> None:
    dissected = scapy_lldp.LLDPDU(LLDP)
    assert dissected[scapy_lldp.LLDPDUChassisID].id == "02:77:00:00:00:fe"
    assert dissected[scapy_lldp.LLDPDUPortID].id == b"g1"
    assert dissected[scapy_lldp.LLDPDUTimeToLive].ttl == 120
    assert dissected[scapy_lldp.LLDPDUPortDescription].description == b"mill 12"
    assert dissected[scapy_lldp.LLDPDUSystemName].system_name == b"gate-house"


NAME = st.from_regex(r"[a-z]{1,80}", fullmatch=True)


@settings(max_examples=60, deadline=None)
@given(NAME, st.integers(0, 65535), NAME, st.integers(1, 255))
def test_what_scapy_builds(name: str, ttl: int, port: str, last: int) -> None:
    frame = bytes(
        Ether()
        / scapy_lldp.LLDPDUChassisID(subtype=5, family=1, id=f"10.0.0.{last}")
        / scapy_lldp.LLDPDUPortID(subtype=3, id=f"02:00:00:00:00:{last:02x}")
        / scapy_lldp.LLDPDUTimeToLive(ttl=ttl)
        / scapy_lldp.LLDPDUSystemName(system_name=name)
        / scapy_lldp.LLDPDUPortDescription(description=port)
        / scapy_lldp.LLDPDUEndOfLLDPDU()
    )
    unit = parse(frame[14:] + bytes(10))
    assert (unit.chassis, unit.port_id, unit.ttl) == (f"10.0.0.{last}", f"02:00:00:00:00:{last:02x}", ttl)
    assert (unit.port_text, unit.system_name, unit.vlan) == (port, name, None)


def test_an_ipv6_address_as_chassis() -> None:
    address = octets("02 12 05 02 fe 80 00 00 00 00 00 00 00 00 00 00 00 00 00 01")
    assert parse(address + LLDP[9:]).chassis == "fe80::1"


def test_a_link_that_may_sleep() -> None:
    """IEEE 802.3 79.3.5 (from memory): 00-12-0F, subtype 5, five times of 16 bits in microseconds."""
    sleeps = octets("fe 0e 00 12 0f 05 00 11 00 11 00 11 00 11 00 11")
    assert parse(LLDP[:-2] + sleeps + LLDP[-2:]).saves_power
    assert not parse(LLDP).saves_power


def test_vlan_0_is_none() -> None:
    """IEEE 802.1Q annex D: port VLAN id 0 means that the port has none."""
    assert parse(LLDP.replace(octets("00 80 c2 01 00 0c"), octets("00 80 c2 01 00 00"))).vlan is None


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (LLDP[9:], "TLV 2 stands where 1 must"),
        (LLDP[:9] + LLDP[14:], "TLV 3 stands where 2 must"),
        (LLDP[:14] + octets("00 00"), "TLV 0 stands where 3 must"),
        (octets("02 01 04") + LLDP[9:], "an id without content"),
        (octets("02 00") + LLDP[9:], SHORT),
        (LLDP[:14] + octets("06 01 00 00 00"), SHORT),
        (LLDP[:18] + octets("08 ff 61 62"), SHORT),
    ],
)
def test_what_cannot_be(payload: bytes, reason: str) -> None:
    """IEEE 802.1AB 9.2.7.7: the first three TLVs in order, none past the end; else the unit is discarded."""
    with pytest.raises(Unreadable, match=reason):
        parse(payload)


def test_a_capture_that_ends_behind_the_first_three() -> None:
    assert (parse(LLDP[:22], cut=True).chassis, parse(LLDP[:22], cut=True).port_text) == ("02:77:00:00:00:fe", "")
    with pytest.raises(Unreadable, match=CUT):
        parse(LLDP[:16], cut=True)


def test_hostile_names() -> None:
    unit = parse(LLDP[:18] + octets("0a 0c 1b 5b 32 4a 5b 2f 6e 6f 70 65 5d ff"))
    assert unit.system_name == "\\x1b[2J[/nope]\ufffd"
