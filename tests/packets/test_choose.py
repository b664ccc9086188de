"""Which interface is picked, with frames made by scapy on cables of our own."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
import pytest
from scapy.layers.inet import IP, UDP
from scapy.layers.l2 import ARP, Ether

from netwatch.packets.batch import PacketBatch, Port
from netwatch.packets.choose import candidates, choose, pick
from netwatch.packets.machine import CannotListen, Interface, interfaces
from netwatch.packets.ring import RingSource
from tests import lab
from tests.lab import Lab, frame

needs_lab = pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))
SEND = Ether(src="02:00:00:00:00:09", dst="ff:ff:ff:ff:ff:ff")
LIGHT = bytes(SEND / IP(src="10.0.0.9", dst="10.0.0.255") / UDP(sport=9, dport=6454) / b"light")
WHO_HAS = bytes(SEND / ARP(psrc="10.0.0.9", pdst="10.0.0.1"))


def heard(batch: PacketBatch) -> Mapping[str, np.ndarray]:
    """By scapy, so that the choice is tested without our own decoders."""
    read = [Ether(batch.packet(row)) for row in range(batch.rows)]
    return {
        "light": np.array([UDP in each and each[UDP].dport in (5568, 6454) for each in read]),
        "ARP": np.array([ARP in each for each in read]),
    }


@pytest.fixture
def net() -> Iterator[Lab]:
    with lab.lab() as made:
        made.pair("far1", "near1")
        made.pair("far2", "near2")
        yield made


@needs_lab
def test_the_interface_with_light_is_picked_and_said_why(net: Lab) -> None:
    source = RingSource(["near1", "near2"])
    net.send("far1", *[WHO_HAS] * 9)
    net.send("far2", LIGHT, LIGHT, WHO_HAS, *(frame(n) for n in range(20)))
    choice = choose(source, heard, 0.2)
    source.close()
    assert choice.name == "near2"
    assert choice.why == "Listening on near2: 2 light, 1 ARP frames came in 0.2 s, fewer that count on near1."
    assert choice.heard == {"near1": {"light": 0, "ARP": 9}, "near2": {"light": 2, "ARP": 1}}


@needs_lab
def test_what_this_laptop_sends_does_not_count(net: Lab) -> None:
    source = RingSource(["near1", "near2"])
    net.send("near1", LIGHT, LIGHT)
    net.send("far2", WHO_HAS)
    assert choose(source, heard, 0.2).name == "near2"
    source.only(["near2"])
    net.send("far2", frame(5))
    batch = next(item for item in source.items(0.2) if isinstance(item, PacketBatch))
    source.close()
    assert (batch.first, batch.packet(0), batch.ports[0].name) == (1, frame(5), "near2")


@needs_lab
def test_where_nothing_is_heard_a_link_counts(net: Lab) -> None:
    net.ip("link", "set", "far1", "down")
    source = RingSource(["near1", "near2"])
    choice = choose(source, heard, 0.1)
    source.close()
    assert choice.why == ("Listening on near2: it has a link, and no light, ARP or DHCP came on any interface in 0.1 s; "
                          "choose another with --on NAME.")


def test_a_wired_interface_goes_before_a_wireless_one() -> None:
    ports = (Port("air", 1, kind="wifi", networks=("10.0.0.5/16",)), Port("cable", 1, kind="wired"))
    assert pick(ports, {"air": {}, "cable": {}}, {"air", "cable"}, 3.0).name == "cable"


@needs_lab
def test_only_interfaces_that_are_up_are_asked(net: Lab) -> None:
    net.ip("link", "set", "near2", "down")
    assert candidates(interfaces()) == ["far1", "far2", "near1"]


def test_without_any_interface_one_sentence_says_what_to_do() -> None:
    with pytest.raises(CannotListen, match=r"^No network interface of this laptop is up: plug in .* again\.$"):
        candidates({"lo": Interface("lo", networks=("127.0.0.1/8",), up=True), "eth0": Interface("eth0")})
