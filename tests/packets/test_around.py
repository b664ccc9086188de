"""What stands around an interface, against ip(8) in a namespace and the kernel's own tables."""

from __future__ import annotations

import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from netwatch.packets import around, machine
from netwatch.packets.around import Around
from netwatch.packets.machine import Interface
from tests import lab
from tests.lab import Lab, frame

needs_lab = pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))


@pytest.fixture
def net() -> Iterator[Lab]:
    with lab.lab() as made:
        made.pair("far", "near", "10.77.0.99/16")
        yield made


def tunnel(net: Lab, name: str = "tun0", address: str = "10.99.0.1/32") -> None:
    net.ip("tuntap", "add", name, "mode", "tun")
    net.ip("address", "add", address, "dev", name)
    net.ip("link", "set", name, "up")


def way_by_ip(address: str) -> str:
    """The kernel's own answer."""
    told = subprocess.run(["ip", "route", "get", address], capture_output=True, text=True, check=True).stdout.split()
    return told[told.index("dev") + 1]


@needs_lab
def test_a_tunnel_that_takes_half_of_the_network(net: Lab) -> None:
    known = machine.interfaces()
    assert around.astray(known, "near") == []
    tunnel(net)
    net.ip("route", "add", "10.77.128.0/17", "dev", "tun0")
    known = machine.interfaces()
    assert way_by_ip("10.77.200.1") == "tun0"
    assert around.astray(known, "near") == [{"to": "10.77.0.0/16", "by": "tun0", "kind": "tunnel"}]
    assert around.tunnels(known, "near") == [{"to": "10.77.128.0/17", "by": "tun0", "kind": "tunnel"}]


@needs_lab
def test_a_tunnel_by_a_rule_of_its_own(net: Lab) -> None:
    """A table that comes before the main one (ip-rule(8)), which no look at the main table shows."""
    tunnel(net)
    net.ip("route", "add", "default", "dev", "tun0", "table", "77")
    net.ip("rule", "add", "priority", "100", "to", "10.77.0.0/16", "lookup", "77")
    assert way_by_ip("10.77.3.3") == "tun0"
    assert around.astray(machine.interfaces(), "near") == [{"to": "10.77.0.0/16", "by": "tun0", "kind": "tunnel"}]


@needs_lab
def test_a_tunnel_that_is_the_default_way_takes_multicast_and_not_the_network(net: Lab) -> None:
    tunnel(net)
    net.ip("route", "add", "default", "dev", "tun0")
    assert (way_by_ip("239.255.0.1"), way_by_ip("10.77.3.3")) == ("tun0", "near")
    assert around.astray(machine.interfaces(), "near") == [{"to": "multicast", "by": "tun0", "kind": "tunnel"}]
    net.ip("route", "add", "224.0.0.0/4", "dev", "near")
    assert around.astray(machine.interfaces(), "near") == []


@needs_lab
def test_a_tunnel_for_other_networks_is_listed_and_takes_nothing(net: Lab) -> None:
    tunnel(net)
    net.ip("route", "add", "172.16.0.0/12", "dev", "tun0")
    known = machine.interfaces()
    assert around.astray(known, "near") == []
    assert around.tunnels(known, "near") == [{"to": "172.16.0.0/12", "by": "tun0", "kind": "tunnel"}]


@needs_lab
def test_another_card_in_the_same_network_is_another_fault(net: Lab) -> None:
    net.pair("far2", "near2", "10.77.0.98/16")
    known = machine.interfaces()
    assert around.astray(known, "near2") == []
    others = Around().facts(known, "near2")["others"]
    assert {each["name"]: each["addresses"] for each in others} == {"near": ["10.77.0.99/16"], "far": [], "far2": []}


@needs_lab
def test_nothing_leaves_the_laptop(net: Lab) -> None:
    """Asking for ways sends no frame: the kernel's own counter stands still."""
    before = Path("/proc/thread-self/net/dev").read_text()
    around.astray(machine.interfaces(), "near")
    assert Path("/proc/thread-self/net/dev").read_text() == before


@needs_lab
def test_who_hears_something(net: Lab, monkeypatch: pytest.MonkeyPatch) -> None:
    net.pair("far2", "near2")
    monkeypatch.setattr(around, "HEARS_EVERY_S", 0)
    looking = Around()

    def hearing() -> list[str]:
        return [each["name"] for each in looking.facts(machine.interfaces(), "near")["others"] if each["hears"]]

    assert hearing() == []
    net.send("far2", *(frame(number) for number in range(3)))
    assert hearing() == ["near2"]
    assert hearing() == []


def test_the_table_is_read_as_the_kernel_prints_it(tmp_path: Path) -> None:
    """Recorded on Debian 12 (kernel 6.18) in a namespace; the networks are those that ip(8) showed there."""
    table = tmp_path / "route"
    table.write_text(
        "Iface\tDestination\tGateway \tFlags\tRefCnt\tUse\tMetric\tMask\t\tMTU\tWindow\tIRTT\n"
        "tun0\t00000000\t00000000\t0001\t0\t0\t0\t00000000\t0\t0\t0\n"
        "tun0\t00004D0A\t00000000\t0001\t0\t0\t0\t0080FFFF\t0\t0\t0\n"
        "near\t00004D0A\t00000000\t0001\t0\t0\t0\t0000FFFF\t0\t0\t0\n"
        "tun0\t0000630A\t00000000\t0001\t0\t0\t0\t00FFFFFF\t0\t0\t0\n"
    )
    if socket.ntohl(1) == 1:
        pytest.skip("recorded on a machine of the other byte order")
    known = {"near": Interface("near", kind="wired"), "tun0": Interface("tun0", networks=("10.99.0.1/24",), kind="tunnel")}
    assert [each["to"] for each in around.tunnels(known, "near", table)] == ["0.0.0.0/0", "10.77.0.0/17"]
    assert around.tunnels(known, "tun0", table) == []
    assert around.tunnels(known, "near", tmp_path / "none") == []


def test_parts_of_a_bridge(tmp_path: Path) -> None:
    """The kernel's Documentation/ABI/testing/sysfs-class-net: 'master' is a link to the bridge or bond."""
    (tmp_path / "br0").mkdir()
    (tmp_path / "eth0").mkdir()
    (tmp_path / "eth0" / "master").symlink_to(tmp_path / "br0")
    assert around.master("eth0", tmp_path) == "br0"
    assert around.master("br0", tmp_path) is None


@needs_lab
def test_what_programs_of_this_laptop_asked_for(net: Lab) -> None:
    """Against ip-maddress(8), which reads the same table by itself. 239.255.1.2 is universe 258; 239.1.0.9 is no light."""
    assert around.joined("near") == []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one, socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        for program, groups in ((one, ("0.7", "1.2")), (other, ("0.8", "0.7"))):
            for group in groups:
                program.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, asked(f"239.255.{group}"))
        other.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, asked("239.1.0.9"))
        assert around.joined("near") == [[7, 8], [258, 258]]
        told = subprocess.run(["ip", "-4", "maddress", "show", "dev", "near"], capture_output=True, text=True, check=True).stdout
        assert {f"239.255.{each}" for each in ("0.7", "0.8", "1.2")} <= set(told.split())
    assert around.joined("near") == []


def asked(group: str) -> bytes:
    return socket.inet_aton(group) + socket.inet_aton("10.77.0.99")


TABLE = """Idx	Device    : Count Querier	Group    Users Timer	Reporter
1	lo        :     1      V3
				010000E0     1 0:00000000		0
2	eth0      :     3      V2
				0C00FFEF     1 0:00000000		1
				0D00FFEF     2 1:0000022B		1
				010000E0     1 0:00000000		0
"""


def test_memberships_as_the_kernel_prints_them(tmp_path: Path) -> None:
    """Of Debian 12 on a machine that puts the lowest byte first; another one prints the bytes of a group the other way round."""
    table = tmp_path / "igmp"
    table.write_text(TABLE, encoding="ascii")
    if sys.byteorder == "little":
        assert around.joined("eth0", table) == [[12, 13]]
    assert around.joined("lo", table) == around.joined("eth1", table) == []
    assert around.joined("eth0", tmp_path / "none") is None
