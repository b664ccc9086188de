"""Joins and leaves as they stand on the wire and in the kernel's own table."""

from __future__ import annotations

import json
import socket
import struct
import subprocess
from collections.abc import Iterator

import pytest
from scapy.layers.inet import IP
from scapy.layers.l2 import Ether

from netwatch.asking.join import Joiner, group
from netwatch.packets.batch import DIRECTION_OUT, PacketBatch
from netwatch.packets.ring import RingSource
from tests import lab
from tests.lab import Lab

pytestmark = pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))

TO_INCLUDE, TO_EXCLUDE = 3, 4
"""Record types of IGMPv3 state changes (RFC 9776 4.2.13): leave, join."""


@pytest.fixture
def net() -> Iterator[Lab]:
    with lab.lab() as made:
        made.pair("far", "near", "10.77.0.1/24")
        yield made


def sent(ring: RingSource) -> list[Ether]:
    """What left the interface so far; the ring is closed."""
    items = list(ring.items(0.1))
    ring.close()
    return [
        Ether(item.packet(row)) for item in items if isinstance(item, PacketBatch) for row in range(item.rows)
        if item.direction[row] == DIRECTION_OUT
    ]


def records(frames: list[Ether]) -> set[tuple[str, int]]:
    """(group, record type) of the version 3 reports, to which every frame must belong (RFC 9776 4.2)."""
    found = set()
    for each in frames:
        assert (each[IP].dst, each[IP].proto) == ("224.0.0.22", 2)
        report = bytes(each[IP].payload)
        assert report[0] == 0x22
        at = 8
        for _ in range(int.from_bytes(report[6:8])):
            kind, more, sources = struct.unpack_from("!BBH", report, at)
            found.add((socket.inet_ntoa(report[at + 4 : at + 8]), kind))
            at += 8 + 4 * sources + 4 * more
    return found


def in_kernel() -> set[str]:
    out = subprocess.run(["ip", "-json", "maddress", "show", "dev", "near"], capture_output=True, text=True, check=True).stdout
    return {each["address"] for each in json.loads(out)[0]["maddr"] if each.get("family") == "inet"} - {"224.0.0.1"}


@pytest.mark.parametrize(("universe", "address"), [
    (1, "239.255.0.1"), (255, "239.255.0.255"), (256, "239.255.1.0"), (63999, "239.255.249.255"), (64214, "239.255.250.214"),
])
def test_the_group_of_a_universe(universe: int, address: str) -> None:
    """E1.31-2018 table 9-10 (239.255.UHB.ULB)."""
    assert group(universe) == address


def test_nothing_is_sent_before_a_join(net: Lab) -> None:
    ring = RingSource(["near"])
    joiner = Joiner("near")
    assert sent(ring) == []
    assert joiner.close() == []


def test_a_join_is_one_report_for_its_groups_and_an_event_each(net: Lab) -> None:
    ring = RingSource(["near"])
    joiner = Joiner("near", clock=lambda: 77)
    events = joiner.join([7, 300], arriving=())
    assert events[0] == {"what": "joined", "universe": 7, "group": "239.255.0.7", "interface": "near", "time": 77, "why": None}
    assert records(sent(ring)) == {("239.255.0.7", TO_EXCLUDE), ("239.255.1.44", TO_EXCLUDE)}
    assert in_kernel() == {"239.255.0.7", "239.255.1.44"}
    assert joiner.joined == (7, 300)
    joiner.close()


def test_a_leave_is_told_to_the_network(net: Lab) -> None:
    joiner = Joiner("near")
    joiner.join([7, 8, 9], arriving=())
    ring = RingSource(["near"])
    assert [(event["what"], event["universe"]) for event in joiner.leave([8, 99])] == [("left", 8)]
    assert ("239.255.0.8", TO_INCLUDE) in records(sent(ring))
    assert in_kernel() == {"239.255.0.7", "239.255.0.9"}
    assert [(event["what"], event["universe"]) for event in joiner.close()] == [("left", 7), ("left", 9)]
    assert in_kernel() == set()


def test_what_arrives_is_not_joined(net: Lab) -> None:
    joiner = Joiner("near")
    assert [event["universe"] for event in joiner.join([1, 2, 3], arriving={2})] == [1, 3]
    assert in_kernel() == {"239.255.0.1", "239.255.0.3"}
    assert joiner.join([1, 3], arriving=()) == []
    joiner.close()


def test_more_groups_than_one_socket_may_hold(net: Lab) -> None:
    """Linux: igmp_max_memberships, 20 by default (kernel documentation, ip-sysctl)."""
    joiner = Joiner("near")
    assert {event["what"] for event in joiner.join(range(1, 129), arriving=())} == {"joined"}
    assert in_kernel() == {group(universe) for universe in range(1, 129)}
    assert [event["what"] for event in joiner.join([129], arriving=())] == ["failed"]
    joiner.leave(range(1, 20))
    assert [event["what"] for event in joiner.join(range(201, 220), arriving=())] == ["joined"] * 19
    assert len(joiner.joined) == 128
    joiner.close()
    assert in_kernel() == set()


def test_a_system_that_allows_fewer(net: Lab) -> None:
    subprocess.run(["sh", "-c", "echo 3 > /proc/sys/net/ipv4/igmp_max_memberships"], check=True)
    joiner = Joiner("near")
    assert {event["what"] for event in joiner.join(range(1, 11), arriving=())} == {"joined"}
    assert len(in_kernel()) == 10
    joiner.close()


def test_an_interface_that_has_gone_is_a_sentence(net: Lab) -> None:
    joiner = Joiner("near")
    joiner.join([1], arriving=())
    net.ip("link", "delete", "near")
    failed = joiner.join([2], arriving=())[0]
    assert failed["what"] == "failed"
    assert failed["why"].startswith("The system refused: ")
    assert [event["what"] for event in joiner.close()] == ["left"]


def test_the_joining_sockets_hold_no_port(net: Lab) -> None:
    joiner = Joiner("near")
    joiner.join([1], arriving=())
    assert {each.getsockname() for each in joiner._sockets} == {("0.0.0.0", 0)}
    joiner.close()
