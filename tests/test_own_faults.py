"""This laptop's own faults as they are: real interfaces, tunnels and firewalls in a namespace, listened to with the ring."""

from __future__ import annotations

import socket
import struct
import subprocess
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest

from netwatch.commands.session import Session
from netwatch.numbers import DEFAULTS
from netwatch.packets.files import open_captures
from netwatch.packets.ring import RingSource
from netwatch.story.play import Player
from netwatch.story.snapshot import AlertView
from tests import lab
from tests.lab import Lab
from tests.stories import frames
from tests.stories.boxes import DESK, ORCHARD, POND, WALK

pytestmark = pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))
GATEHOUSE = DESK.at("10.77.0.10")
RIG = [frames.announce(box.at(f"10.77.0.{number}")) for number, box in enumerate((DESK, WALK, POND, ORCHARD), 10)]


@pytest.fixture
def net() -> Iterator[Lab]:
    with lab.lab() as made:
        made.pair("far", "near", "10.77.0.99/16")
        yield made


@contextmanager
def listening(*names: str, keep: Path | None = None) -> Iterator[Session]:
    """A session as ``netwatch watch`` runs it."""
    session = Session(RingSource(names), Player(DEFAULTS, live=True), keep)
    session.start()
    try:
        yield session
    finally:
        session.stop()


@contextmanager
def sending(net: Lab, name: str, frames_: Callable[[int], list[bytes]]) -> Iterator[None]:
    """These frames ten times a second, by a socket of this namespace."""
    over = threading.Event()
    sender = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)
    sender.bind((name, 0))

    def send() -> None:
        number = 0
        while not over.wait(0.1):
            number += 1
            with suppress(OSError):  # the cable is pulled
                for frame in frames_(number):
                    sender.send(frame)

    thread = threading.Thread(target=send)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()
        sender.close()


def told(session: Session, code: str, **fields: Any) -> AlertView | None:
    """The open alert of a code with these fields."""
    found = [alert for alert in session.snapshot().alerts if alert.code == code and alert.closed is None]
    return next((alert for alert in found if all(getattr(alert, key) == value for key, value in fields.items())), None)


def replayed(path: Path) -> tuple[AlertView, ...]:
    """The alerts of a kept session, read back."""
    player = Player(DEFAULTS)
    for item in open_captures([str(path)]):
        player.feed(item)
    player.finish()
    return player.snapshot().alerts


def until(net: Lab, condition: Callable[[], object]) -> None:
    """Rules wait for some seconds, and some look every 10 s."""
    net.until(condition, 60)


def light(number: int) -> list[bytes]:
    """Broadcast by Art-Net, and the rig's ARP."""
    return [frames.artdmx(GATEHOUSE, 0, number % 255 + 1, bytes(512), to="10.77.255.255"), *RIG]


def quiet(session: Session) -> list[str]:
    return [alert.code for alert in session.snapshot().alerts if alert.about_laptop]


def test_two_interfaces_in_one_network(net: Lab) -> None:
    net.pair("far2", "near2", "10.77.0.98/16")
    with listening("near") as session, sending(net, "far", light):
        until(net, lambda: told(session, "two-interfaces-one-network"))
        alert = told(session, "two-interfaces-one-network")
        assert alert is not None
        assert (alert.facts["interface"], alert.facts["other"], alert.facts["network"]) == ("near", "near2", "10.77.0.0/16")
        assert not session.player.trusted
        net.ip("link", "set", "near2", "down")
        until(net, lambda: not told(session, "two-interfaces-one-network"))


def test_a_firewall_drops_what_programs_should_get(net: Lab, tmp_path: Path) -> None:
    """nftables before a socket that is open; the ring sees all, the socket nothing (nft(8): hook input)."""
    kept = tmp_path / "kept.pcapng"
    program = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    with program, listening("near", keep=kept) as session, sending(net, "far", light):
        program.bind(("", 6454))
        assert program.recv(2000)
        rules = "table inet t { chain i { type filter hook input priority 0; policy accept; udp dport 6454 counter drop; }; }"
        subprocess.run(["nft", "-f", "-"], input=rules, text=True, check=True)
        until(net, lambda: told(session, "firewall-in-the-way", severity="soon", certainty="certain"))
        alert = told(session, "firewall-in-the-way")
        assert alert is not None
        assert alert.facts["ports"] == [6454]
        subprocess.run(["nft", "flush", "ruleset"], check=True)
        until(net, lambda: not told(session, "firewall-in-the-way"))
    assert replayed(kept) == session.snapshot().alerts


def test_a_group_that_is_asked_for_and_dropped(net: Lab) -> None:
    """Light of universe 1 (E1.31-2018 9.3.1: group 239.255.0.1) after this laptop's own IGMP report."""
    def sacn(number: int) -> list[bytes]:
        return [frames.e131(GATEHOUSE, 1, number), *RIG]

    rules = "table ip t { chain i { type filter hook prerouting priority 0; policy accept; udp dport 5568 drop; }; }"
    subprocess.run(["nft", "-f", "-"], input=rules, text=True, check=True)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asker, listening("near") as session, sending(net, "far", sacn):
        net.until(lambda: session.snapshot().streams)
        here = socket.inet_aton("239.255.0.1") + bytes(4) + struct.pack("@i", socket.if_nametoindex("near"))
        asker.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, here)
        until(net, lambda: told(session, "firewall-in-the-way"))
        assert told(session, "firewall-in-the-way").facts["ports"] == [5568]


def test_a_tunnel_covers_the_rig(net: Lab) -> None:
    net.ip("tuntap", "add", "tun0", "mode", "tun")
    net.ip("address", "add", "10.99.0.1/32", "dev", "tun0")
    net.ip("link", "set", "tun0", "up")
    with listening("near") as session, sending(net, "far", light):
        net.ip("route", "add", "10.77.0.0/17", "dev", "tun0")
        until(net, lambda: told(session, "tunnel-in-the-way"))
        alert = told(session, "tunnel-in-the-way")
        assert alert is not None
        assert (alert.facts["tunnel"], alert.facts["networks"], alert.severity) == ("tun0", ["10.77.0.0/16"], "soon")
        net.ip("route", "delete", "10.77.0.0/17", "dev", "tun0")
        until(net, lambda: not told(session, "tunnel-in-the-way"))


def test_a_pulled_cable(net: Lab) -> None:
    with listening("near") as session, sending(net, "far", light):
        net.until(lambda: session.snapshot().streams)
        net.ip("link", "set", "far", "down")
        until(net, lambda: told(session, "nothing-heard-here"))
        assert told(session, "nothing-heard-here").facts["what"] == "no-link"


def test_a_sound_laptop_is_told_of_nothing(net: Lab) -> None:
    """An open program, a virtual network of its own, a tunnel for other networks: 12 s without a word about the laptop."""
    net.pair("guest", "vm0", "192.168.56.1/24")
    net.ip("tuntap", "add", "tun0", "mode", "tun")
    net.ip("address", "add", "10.99.0.1/32", "dev", "tun0")
    net.ip("link", "set", "tun0", "up")
    net.ip("route", "add", "172.16.0.0/12", "dev", "tun0")
    with listening("near") as session, sending(net, "far", light):
        until(net, lambda: (first := session.snapshot().first) and session.snapshot().now - first > 12 * 10**9)
        assert quiet(session) == []
        assert session.player.trusted
