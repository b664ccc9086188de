"""Spanning tree against scapy's builder as an oracle (IEEE 802.1D-2004 from memory)."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scapy.layers.l2 import STP

from netwatch.decode.reader import CUT, SHORT, Reader, Unreadable
from netwatch.decode.stp import read
from netwatch.decode.tables import Stp
from tests.decode.good import HEAD, STP_CONFIG, STP_NOTICE, STP_RST, octets


def parse(payload: bytes, cut: bool = False) -> Stp:
    return read(Reader(payload, cut), HEAD)


def test_a_configuration_bpdu() -> None:
    bpdu = parse(STP_CONFIG)
    assert (bpdu.version, bpdu.type, bpdu.topology_change) == (0, 0, True)
    assert (bpdu.root, bpdu.bridge, bpdu.port) == ("32768/02:77:00:00:00:01", "32769/02:77:00:00:00:fe", 0x8002)
    assert parse(STP_CONFIG + bytes(8)) == bpdu


def test_a_rapid_bpdu() -> None:
    """Flags 0x3c: role, learning and forwarding, no topology change."""
    bpdu = parse(STP_RST)
    assert (bpdu.version, bpdu.type, bpdu.topology_change, bpdu.bridge) == (2, 2, False, "32769/02:77:00:00:00:fe")


def test_a_notice_of_topology_change() -> None:
    bpdu = parse(STP_NOTICE)
    assert (bpdu.type, bpdu.topology_change, bpdu.root, bpdu.port) == (0x80, True, "", 0)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 255), st.integers(0, 65535), st.integers(0, 65535), st.integers(0, 65535), st.sampled_from([0, 2]))
def test_what_scapy_builds(flags: int, root: int, bridge: int, port: int, type_: int) -> None:
    payload = bytes(
        STP(
            version=type_, bpdutype=type_, bpduflags=flags, rootid=root, rootmac="02:00:00:00:00:0a", bridgeid=bridge,
            bridgemac="02:00:00:00:00:0b", portid=port,
        )
    )  # fmt: skip
    bpdu = parse(payload)
    assert (bpdu.topology_change, bpdu.port) == (bool(flags & 1), port)
    assert (bpdu.root, bpdu.bridge) == (f"{root}/02:00:00:00:00:0a", f"{bridge}/02:00:00:00:00:0b")


@pytest.mark.parametrize(
    ("payload", "cut", "reason"),
    [
        (STP_CONFIG[:34], False, SHORT),
        (STP_CONFIG[:34], True, CUT),
        (octets("00 01") + STP_CONFIG[2:], False, "protocol 1"),
        (octets("00 00 00 05") + STP_CONFIG[4:], False, "type 0x05"),
    ],
)
def test_what_cannot_be(payload: bytes, cut: bool, reason: str) -> None:
    with pytest.raises(Unreadable, match=reason):
        parse(payload, cut)
