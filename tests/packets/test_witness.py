"""What gets through to programs, in a namespace: nftables, memberships and the kernel itself decide."""

from __future__ import annotations

import select
import socket
import struct
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from scapy.layers.inet import IP, UDP
from scapy.layers.l2 import Ether

from netwatch.packets.witness import Witness
from tests import lab
from tests.lab import Lab

pytestmark = pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))
DROPS = "table inet light { chain in { type filter hook input priority 0; policy accept; udp dport %d drop; }; }"


@pytest.fixture
def net() -> Iterator[Lab]:
    with lab.lab() as made:
        made.pair("far", "near", "10.77.0.99/16")
        yield made


@pytest.fixture
def witness(net: Lab) -> Iterator[Witness]:
    made = Witness(socket.if_nametoindex("near"))
    yield made
    made.close()


def light(port: int, to: str = "10.77.255.255", source: str = "10.77.0.10", options: bytes = b"") -> bytes:
    mac = "ff:ff:ff:ff:ff:ff" if to.endswith("255") else "01:00:5e:7f:00:01"
    head = IP(src=source, dst=to, options=options)
    return bytes(Ether(src="02:00:00:00:00:10", dst=mac) / head / UDP(sport=port, dport=port) / bytes(64))


def settled(net: Lab) -> None:
    """Whatever was sent before has been handled: the kernel hands frames of a veth on in order."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as end:
        end.bind(("0.0.0.0", 9))
        net.send("far", light(9))
        assert select.select([end], [], [], 5)[0]


def nft(rules: str) -> None:
    subprocess.run(["nft", "-f", "-"], input=rules, text=True, check=True)


def test_what_the_firewall_lets_through_is_seen_and_what_it_drops_is_not(net: Lab, witness: Witness) -> None:
    net.send("far", light(6454), light(6454))
    settled(net)
    assert witness.reached() == {"5568": False, "6454": True}
    nft(DROPS % 6454)
    witness.bind(socket.if_nametoindex("near"))
    net.send("far", light(6454), light(6454))
    settled(net)
    assert witness.reached() == {"5568": False, "6454": False}
    nft("flush ruleset")
    net.send("far", light(6454))
    settled(net)
    assert witness.reached()["6454"]


def test_a_group_only_where_somebody_asked_for_it(net: Lab, witness: Witness) -> None:
    net.send("far", light(5568, "239.255.0.1"))
    settled(net)
    assert not witness.reached()["5568"]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asker:
        here = socket.inet_aton("239.255.0.1") + bytes(4) + struct.pack("@i", socket.if_nametoindex("near"))
        asker.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, here)
        net.send("far", light(5568, "239.255.0.1"))
        settled(net)
        assert witness.reached()["5568"]


def test_only_its_own_interface_and_what_comes_holds_for_a_while(net: Lab, witness: Witness) -> None:
    net.pair("far2", "near2", "10.78.0.99/16")
    net.send("far2", light(6454, "10.78.255.255", "10.78.0.10"))
    settled(net)
    assert not witness.reached()["6454"]
    net.send("far", light(6454))
    settled(net)
    assert witness.reached()["6454"]
    assert witness.reached()["6454"]  # nothing came since, but within 2 s


def test_a_header_with_options_is_measured(net: Lab, witness: Witness) -> None:
    """RFC 791 3.1: the length of the header stands in its first octet."""
    net.send("far", light(6454, options=b"\x01" * 8))
    settled(net)
    assert witness.reached()["6454"]


def test_it_holds_no_port_and_joins_nothing(net: Lab, witness: Witness) -> None:
    for port in (5568, 6454):
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as alone:
            alone.bind(("0.0.0.0", port))  # without SO_REUSEADDR
    assert "FFEF" not in Path("/proc/thread-self/net/igmp").read_text()  # 239.255.x.y as proc(5) shows it


def test_without_the_right_it_is_refused(net: Lab) -> None:
    program = (
        "from netwatch.packets import rights, witness; rights.drop()\n"
        "try:\n    witness.Witness(1)\nexcept OSError:\n    print('refused')"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True,
                          cwd=Path(__file__).parents[2])  # fmt: skip
    assert done.stdout == "refused\n"
