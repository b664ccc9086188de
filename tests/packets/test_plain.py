"""The limited view with real sockets, beside real programs that want the same port."""

from __future__ import annotations

import os
import select
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from scapy.layers.inet import IP, UDP
from scapy.layers.l2 import Ether

from netwatch.packets import datagrams
from netwatch.packets.batch import DIRECTION_IN, DIRECTION_OUT, Item, Mark, PacketBatch
from netwatch.packets.holders import holder
from netwatch.packets.plain import PlainSource
from tests import lab
from tests.lab import Lab, after

pytestmark = pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))

NEAR, FAR = "10.77.0.1", "10.77.0.9"

PROGRAM = """
import socket, sys
family, *options = sys.argv[1:]
program = socket.socket(socket.AF_INET6 if family == "6" else socket.AF_INET, socket.SOCK_DGRAM)
if family == "6":
    program.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 0)
for option in options:
    program.setsockopt(socket.SOL_SOCKET, getattr(socket, option), 1)
try:
    program.bind(("", 6454))
except OSError as error:
    sys.exit(f"bind: {error.strerror}")
print("ready", flush=True)
while True:
    print(program.recv(2000).decode(), flush=True)
"""


@pytest.fixture
def net() -> Iterator[Lab]:
    with lab.lab() as made:
        made.pair("far", "near", NEAR + "/24")
        yield made


@contextmanager
def program(family: str, *options: str) -> Iterator[subprocess.Popen[str]]:
    """Another program on the same laptop that holds UDP port 6454."""
    child = subprocess.Popen([sys.executable, "-c", PROGRAM, family, *options], stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None
    try:
        assert child.stdout.readline() == "ready\n"
        os.set_blocking(child.stdout.fileno(), False)
        yield child
    finally:
        child.kill()
        child.wait()
        child.stdout.close()


def got(child: subprocess.Popen[str], least: int) -> list[str]:
    """Lines that the program received, once there are so many or half a second has gone."""
    assert child.stdout is not None
    lines: list[str] = []
    until = time.monotonic() + 0.5
    while len(lines) < least and time.monotonic() < until:
        if select.select([child.stdout], [], [], 0.05)[0]:
            lines += child.stdout.read().split()
    return lines


def light(to: str, payload: bytes = b"light", port: int = 6454, mac: str = "ff:ff:ff:ff:ff:ff", source: str = FAR) -> bytes:
    return bytes(Ether(src="02:00:00:00:00:09", dst=mac) / IP(src=source, dst=to) / UDP(sport=7000, dport=port) / payload)


def unicast(net: Lab, mac: str, *payloads: bytes) -> None:
    """From another machine to this laptop."""
    net.send("far", *(light(NEAR, payload, mac=mac) for payload in payloads))


def rows(items: list[Item]) -> list[tuple[bytes, int, int]]:
    """(packet, port, direction)."""
    return [
        (item.packet(row), int(item.port[row]), int(item.direction[row]))
        for item in items if isinstance(item, PacketBatch) for row in range(item.rows)
    ]


def test_datagrams_become_raw_ip_rows(net: Lab) -> None:
    """Headers as scapy reads them: RFC 791, RFC 768."""
    source = PlainSource(["near"])
    mac = source.ports[0].macs[0].hex(":")
    before = time.time_ns()
    net.send("far", light(NEAR, b"one", mac=mac), light("10.77.0.255", b"two"), light("255.255.255.255", b"three", port=5568))
    items = after(0.2, source)
    read = [(IP(packet), port, direction) for packet, port, direction in rows(items)]
    assert sorted((ip.dst, ip[UDP].dport, bytes(ip[UDP].payload)) for ip, _, _ in read) == [
        (NEAR, 6454, b"one"), ("10.77.0.255", 6454, b"two"), ("255.255.255.255", 5568, b"three"),
    ]
    assert {(ip.version, ip.src, ip[UDP].sport) for ip, _, _ in read} == {(4, FAR, 7000)}
    assert {(port, direction) for _, port, direction in read} == {(0, DIRECTION_IN)}
    assert all(ip.len == len(bytes(ip)) and ip[UDP].len == ip.len - 20 for ip, _, _ in read)
    times = [int(time_) for item in items if isinstance(item, PacketBatch) for time_ in item.time]
    assert all(before <= each <= time.time_ns() for each in times)
    port = source.ports[0]
    assert (port.link_type, port.source, port.made_up, port.networks) == (101, "sockets", True, (NEAR + "/24",))
    assert next(item for item in items if isinstance(item, PacketBatch)).first == 1


def test_groups_that_another_program_joined_are_seen(net: Lab) -> None:
    source = PlainSource(["near"])
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        other.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, socket.inet_aton("239.255.0.7") + socket.inet_aton(NEAR))
        net.send("far", light("239.255.0.7", port=5568, mac="01:00:5e:7f:00:07"))
        items = after(0.2, source)
    assert [IP(packet).dst for packet, _, _ in rows(items)] == ["239.255.0.7"]


def test_light_of_this_laptop_itself_goes_out(net: Lab) -> None:
    source = PlainSource(["near"])
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        sender.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
        sender.bind((NEAR, 0))
        sender.sendto(b"own", ("10.77.0.255", 6454))
    assert [(IP(packet).src, direction) for packet, _, direction in rows(after(0.2, source))] == [(NEAR, DIRECTION_OUT)]


def test_what_comes_by_another_interface_is_left_out(net: Lab) -> None:
    net.pair("far2", "near2", "10.78.0.1/24")
    source = PlainSource(["near2"])
    net.send("far", light("255.255.255.255", b"no"))
    net.send("far2", light("255.255.255.255", b"yes", source="10.78.0.9"))
    assert [bytes(IP(packet)[UDP].payload) for packet, _, _ in rows(after(0.2, source))] == [b"yes"]


@pytest.mark.parametrize(("family", "options"), [
    ("4", ()), ("4", ("SO_REUSEADDR",)), ("4", ("SO_REUSEADDR", "SO_REUSEPORT")), ("6", ("SO_REUSEADDR",)),
    ("6", ("SO_REUSEADDR", "SO_REUSEPORT")),
])
def test_a_program_that_was_there_first_keeps_everything(net: Lab, family: str, options: tuple[str, ...]) -> None:
    with program(family, *options) as child:
        source = PlainSource(["near"])
        mac = source.ports[0].macs[0].hex(":")
        unicast(net, mac, *[b"u"] * 20)
        items = after(0.2, source)
        assert list(source.left_alone) == [6454]
        assert source.left_alone[6454].startswith("python")
        assert len(got(child, 20)) == 20
        assert rows(items) == []
        told = [item.facts for item in items if isinstance(item, Mark) and item.facts]
        assert list(told[0]["left_alone"]) == ["6454"]


@pytest.mark.parametrize(("family", "options"), [
    ("4", ("SO_REUSEADDR",)), ("4", ("SO_REUSEADDR", "SO_REUSEPORT")), ("6", ("SO_REUSEADDR",)),
])
def test_a_program_that_is_started_later_gets_all_unicast_at_once(net: Lab, family: str, options: tuple[str, ...]) -> None:
    source = PlainSource(["near"])
    mac = source.ports[0].macs[0].hex(":")
    unicast(net, mac, b"before")
    with program(family, *options) as child:
        unicast(net, mac, *[b"u"] * 20)
        assert got(child, 20) == ["u"] * 20
        items = after(0.1, source)
    assert [bytes(IP(packet)[UDP].payload) for packet, _, _ in rows(items)] in ([b"before"], [])


def test_a_port_is_given_up_to_a_program_that_is_started_later(net: Lab) -> None:
    """The one combination that our socket would take unicast from: it gets it as soon as we have looked around."""
    source = PlainSource(["near"])
    mac = source.ports[0].macs[0].hex(":")
    with program("6", "SO_REUSEADDR", "SO_REUSEPORT") as child:
        list(source.items(0.05))
        assert source.left_alone[6454].startswith("python")
        unicast(net, mac, *[b"u"] * 20)
        assert got(child, 20) == ["u"] * 20
        assert rows(after(0.05, source)) == []


def test_the_other_port_stays_open(net: Lab) -> None:
    with program("4", "SO_REUSEADDR"):
        source = PlainSource(["near"])
        net.send("far", light("255.255.255.255", b"light", port=5568))
        assert len(rows(after(0.2, source))) == 1


def test_two_views_at_once_do_not_take_from_each_other(net: Lab) -> None:
    first = PlainSource(["near"])
    second = PlainSource(["near"])
    assert second.left_alone == {5568: "another program", 6454: "another program"}
    first.close()
    second.close()


def test_overflow_is_counted(net: Lab) -> None:
    source = PlainSource(["near"])
    for held in source._sockets.values():
        held.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4_096)
    mac = source.ports[0].macs[0].hex(":")
    unicast(net, mac, *[bytes(500)] * 50)
    items = list(source.items(0.1))
    unicast(net, mac, b"the kernel tells of lost ones with the next")
    items += after(0.1, source)
    last = [item for item in items if isinstance(item, Mark)][-1]
    assert last.dropped > 0
    assert (last.received, last.received - last.dropped) == (51, len(rows(items)))


def test_close_from_another_thread_ends_it(net: Lab) -> None:
    source = PlainSource()
    reader = threading.Thread(target=lambda: list(source))
    reader.start()
    source.close()
    reader.join(timeout=5)
    assert not reader.is_alive()


def test_without_names_all_interfaces_that_are_up_are_heard(net: Lab) -> None:
    source = PlainSource()
    assert sorted(port.name for port in source.ports) == ["far", "lo", "near"]
    source.close()


def test_only_goes_on_with_one_as_if_just_opened(net: Lab) -> None:
    net.pair("far2", "near2", "10.78.0.1/24")
    source = PlainSource(["near", "near2"])
    net.send("far2", light("255.255.255.255", b"before", source="10.78.0.9"))
    list(source.items(0.1))
    source.only(["near2"])
    net.send("far", light("255.255.255.255", b"no"))
    net.send("far2", light("255.255.255.255", b"yes", source="10.78.0.9"))
    items = after(0.2, source)
    assert [(bytes(IP(packet)[UDP].payload), port) for packet, port, _ in rows(items)] == [(b"yes", 0)]
    assert [item for item in items if isinstance(item, Mark)][-1].received == 1


def test_systems_that_tell_less_still_give_rows(net: Lab, monkeypatch: pytest.MonkeyPatch) -> None:
    """As where Python has no recvmsg (Windows): the sender's network names the port, our address stands for the destination."""
    class Less:
        def __init__(self, real: socket.socket) -> None:
            self.fileno, self.close, self.recvfrom_into = real.fileno, real.close, real.recvfrom_into

    opened = datagrams.open_socket
    monkeypatch.setattr(datagrams, "open_socket", lambda port: Less(opened(port)))
    source = PlainSource(["near"])
    net.send("far", light("10.77.0.255", b"two"))
    assert [(IP(packet).src, IP(packet).dst, port) for packet, port, _ in rows(after(0.2, source))] == [(FAR, NEAR, 0)]


def test_nobody_holds_a_free_port(net: Lab) -> None:
    assert holder(6454) is None
    with program("4"):
        assert str(holder(6454)).startswith("python")
