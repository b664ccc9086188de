"""The ring, in a namespace, against frames that the test itself put on the cable."""

from __future__ import annotations

import fcntl
import os
import struct
import subprocess
import threading
import time
from collections.abc import Iterator

import numpy as np
import pytest
from scapy.layers.inet import IP, UDP
from scapy.layers.l2 import Dot1AD, Dot1Q, Ether

from netwatch.packets import ring
from netwatch.packets.batch import DIRECTION_IN, DIRECTION_OUT, Item, Mark, PacketBatch
from netwatch.packets.machine import CannotListen
from netwatch.packets.ring import RingSource
from tests import lab
from tests.lab import EXPERIMENTAL, Lab, after, frame

pytestmark = pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))


@pytest.fixture
def net() -> Iterator[Lab]:
    with lab.lab() as made:
        made.pair("far", "near")
        yield made


def batches(items: list[Item]) -> list[PacketBatch]:
    return [item for item in items if isinstance(item, PacketBatch)]


def marks(items: list[Item], port: int = 0) -> list[Mark]:
    return [item for item in items if isinstance(item, Mark) and item.port == port]


def packets(items: list[Item], ethertype: bytes = EXPERIMENTAL) -> list[tuple[bytes, int, int, int]]:
    """(bytes, time, port, direction) of the test's own frames."""
    rows = [
        (batch.packet(row), int(batch.time[row]), int(batch.port[row]), int(batch.direction[row]))
        for batch in batches(items) for row in range(batch.rows)
    ]
    return [row for row in rows if row[0][12:14] == ethertype]


def test_what_was_sent_is_what_is_read(net: Lab) -> None:
    sent = [frame(number, size) for number, size in enumerate([60, 60, 1514, 64, 700, 700, 700, 61])]
    source = RingSource(["near"])
    before = time.time_ns()
    net.send("far", *sent)
    items = after(0.1, source)
    got = packets(items)
    assert [row[0] for row in got] == sent
    assert all(before <= row[1] <= time.time_ns() for row in got)
    assert [row[1] for row in got] == sorted(row[1] for row in got)
    assert {row[3] for row in got} == {DIRECTION_IN}
    assert source.ports[0].name == "near"
    assert (source.ports[0].link_type, source.ports[0].source) == (1, "ring")


def test_own_frames_are_marked_as_going_out(net: Lab) -> None:
    source = RingSource(["far", "near"])
    net.send("far", frame(1))
    assert sorted(row[2:] for row in packets(after(0.1, source))) == [(0, DIRECTION_OUT), (1, DIRECTION_IN)]


def test_batches_hold_the_contract(net: Lab) -> None:
    source = RingSource(["near"])
    net.send("far", *(frame(number, 60 + number % 300) for number in range(3_000)))
    seen = 0
    for batch in batches(after(0.1, source)):
        assert batch.first == seen + 1
        seen += batch.rows
        assert not batch.data[-256:].any()
        assert (batch.start + batch.caplen <= len(batch.data) - 256).all()
        assert (batch.caplen <= batch.wirelen).all()
        assert not batch.data.flags.writeable
        assert not batch.time.flags.writeable
    assert seen >= 3_000


def test_a_batch_never_grows_beyond_its_limits(net: Lab, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ring, "MAX_ROWS", 9_000)
    source = RingSource(["near"], size=64 << 20)
    net.send("far", *(frame(number, 60) for number in range(20_000)))
    items = after(0.1, source)
    assert all(batch.rows <= 9_000 for batch in batches(items))
    assert [int.from_bytes(row[0][14:18]) for row in packets(items)] == list(range(20_000))


@pytest.mark.parametrize("tagged", [
    Ether(dst="ff:ff:ff:ff:ff:ff", src="02:00:00:00:00:01") / Dot1Q(vlan=100, prio=5, type=0x88B5) / (b"tagged" * 12),
    Ether(dst="ff:ff:ff:ff:ff:ff", src="02:00:00:00:00:01") / Dot1Q(vlan=0, prio=6, type=0x88B5) / (b"priority" * 12),
    Ether(dst="ff:ff:ff:ff:ff:ff", src="02:00:00:00:00:01") / Dot1AD(vlan=7) / Dot1Q(vlan=9, type=0x88B5) / (b"double" * 12),
], ids=["802.1Q", "priority only", "QinQ"])
def test_tags_that_the_kernel_took_off_are_put_back(net: Lab, tagged: Ether) -> None:
    """Frames made by scapy; on a veth too the kernel hands the outer tag beside the frame (packet_mmap, TP_STATUS_VLAN_VALID)."""
    sent = bytes(tagged)
    source = RingSource(["far", "near"])
    net.send("far", sent, frame(1))
    items = after(0.1, source)
    got = packets(items, sent[12:14])
    assert sorted(row[2:] for row in got) == [(0, DIRECTION_OUT), (1, DIRECTION_IN)]
    assert {row[0] for row in got} == {sent}
    assert len(packets(items)) == 2


def test_several_interfaces_come_in_the_order_of_time(net: Lab) -> None:
    net.pair("far2", "near2")
    source = RingSource(["near", "near2"])
    for number in range(20):
        net.send("far2" if number % 3 else "far", frame(number))
    items = after(0.2, source)
    got = packets(items)
    assert [row[2] for row in sorted(got, key=lambda row: row[0])] == [1 if number % 3 else 0 for number in range(20)]
    for batch in batches(items):
        assert (np.diff(batch.time) >= 0).all()
    assert [port.name for port in source.ports] == ["near", "near2"]


def test_the_kernels_drops_are_counted(net: Lab) -> None:
    source = RingSource(["near"], size=2 << 20)
    net.send("far", *(frame(number, 1_000) for number in range(4_000)))
    items = after(0.1, source)
    last = marks(items)[-1]
    assert last.dropped > 0
    assert last.received == last.dropped + sum(batch.rows for batch in batches(items))


def test_marks_come_at_start_and_stop_and_once_a_second(net: Lab) -> None:
    source = RingSource(["near"])
    before = time.time_ns()
    said = marks(after(1.2, source))
    assert len(said) == 3
    assert said[0].time >= before - 200_000_000
    assert [mark.time for mark in said] == sorted(mark.time for mark in said)
    assert said[-1].time <= time.time_ns() - 200_000_000
    assert [mark.facts is not None for mark in said] == [True, False, True]
    assert said[0].facts["link"] is True
    assert said[0].facts["mac"] == source.ports[0].macs[0].hex(":")


def test_a_pulled_cable_is_said(net: Lab) -> None:
    source = RingSource(["near"])
    with_link = []
    for item in source:
        if isinstance(item, Mark) and item.facts:
            with_link.append(item.facts["link"])
            if len(with_link) == 1:
                net.ip("link", "set", "far", "down")
            else:
                source.close()
    assert with_link[:2] == [True, False]


def test_an_interface_that_was_down_is_heard_again(net: Lab) -> None:
    source = RingSource(["near"])
    net.ip("link", "set", "near", "down")
    down = [mark.facts["up"] for mark in marks(list(source.items(0.2))) if mark.facts]
    net.up("near", "far")
    net.send("far", frame(7))
    items = after(0.1, source)
    assert False in down
    assert [row[0] for row in packets(items)] == [frame(7)]
    assert marks(items)[0].facts["up"] is True


@pytest.mark.parametrize(("name", "mac"), [("near", ""), ("other", "02:00:00:00:00:77")], ids=["same name", "same MAC"])
def test_a_ring_goes_on_with_the_successor_of_a_vanished_device(net: Lab, name: str, mac: str) -> None:
    net.ip("link", "set", "near", "address", "02:00:00:00:00:77")
    source = RingSource(["near"])
    net.ip("link", "delete", "near")
    gone = marks(list(source.items(0.2)))[-1].facts
    net.pair("far", name, other_mac=mac)
    back = marks(list(source.items(0.1)))[-1].facts
    net.send("far", frame(8))
    items = after(0.1, source)
    assert {key: gone[key] for key in ("present", "up", "link")} == {"present": False, "up": False, "link": False}
    assert (back["present"], back["name"]) == (True, name)
    assert [row[0] for row in packets(items)] == [frame(8)]
    assert len(source.ports) == 1


def test_a_stranger_is_no_successor(net: Lab) -> None:
    source = RingSource(["near"])
    net.ip("link", "delete", "near")
    net.pair("far", "stranger")
    items = list(source.items(0.1))
    net.send("far", frame(9))
    items += after(0.1, source)
    assert packets(items) == []
    assert marks(items)[-1].facts["present"] is False


def test_frames_for_others_are_heard_too(net: Lab) -> None:
    def promiscuity() -> str:
        shown = subprocess.run(["ip", "-details", "link", "show", "near"], capture_output=True, text=True, check=True).stdout
        return shown.split("promiscuity ")[1].split()[0]

    assert promiscuity() == "0"
    source = RingSource(["near"])
    assert promiscuity() == "1"
    net.send("far", b"\x02\0\0\0\0\x99" + frame(1)[6:])
    assert len(packets(after(0.1, source))) == 1
    assert promiscuity() == "0"


def test_listening_sends_nothing(net: Lab) -> None:
    watching, listening = RingSource(["far"]), RingSource(["near"])
    after(0.3, listening)
    assert batches(after(0.1, watching)) == []


def test_close_from_another_thread_ends_the_iteration_and_loses_nothing(net: Lab) -> None:
    source = RingSource(["near"])
    items: list[Item] = []
    reader = threading.Thread(target=lambda: items.extend(source))
    reader.start()
    net.send("far", frame(3))
    source.close()
    reader.join(timeout=5)
    assert not reader.is_alive()
    assert [row[0] for row in packets(items)] == [frame(3)]
    source.close()
    assert list(source) == []


def test_a_word_said_becomes_a_mark(net: Lab) -> None:
    source = RingSource(["near"])
    source.say({"phase": "show"})
    assert {"phase": "show"} in [mark.facts for mark in marks(after(0.1, source))]


def test_only_goes_on_with_one_as_if_just_opened(net: Lab) -> None:
    net.pair("far2", "near2")
    source = RingSource(["near", "near2"])
    net.send("far2", frame(1))
    list(source.items(0.1))
    source.only(["near2"])
    net.send("far", frame(2))
    net.send("far2", frame(3))
    items = after(0.1, source)
    assert [(row[0], row[2]) for row in packets(items)] == [(frame(3), 0)]
    assert batches(items)[0].first == 1
    assert [port.name for port in source.ports] == ["near2"]
    assert marks(items)[-1].received == sum(batch.rows for batch in batches(items))


def test_on_loopback_each_frame_comes_once(net: Lab) -> None:
    source = RingSource(["lo"])
    net.send("lo", frame(1))
    assert len(packets(after(0.1, source))) == 1


def test_a_tunnel_gives_raw_ip(net: Lab) -> None:
    if not os.path.exists("/dev/net/tun"):
        pytest.skip("no /dev/net/tun here")
    tunnel = os.open("/dev/net/tun", os.O_RDWR)
    fcntl.ioctl(tunnel, 0x400454CA, struct.pack("16sH22x", b"tunnel", 0x1001))  # TUNSETIFF: IFF_TUN | IFF_NO_PI
    net.ip("link", "set", "tunnel", "up")
    source = RingSource(["tunnel"])
    sent = bytes(IP(src="10.0.0.1", dst="10.0.0.2") / UDP(dport=5568) / b"light")
    os.write(tunnel, sent)
    items = after(0.1, source)
    os.close(tunnel)
    assert source.ports[0].link_type == 101
    assert sent in [batch.packet(row) for batch in batches(items) for row in range(batch.rows)]


def test_an_interface_that_is_not_there_or_down_is_one_sentence(net: Lab) -> None:
    with pytest.raises(CannotListen, match=r"^There is no interface 'nowhere' on this laptop; .* up: far, lo, near\.$"):
        RingSource(["near", "nowhere"])
    net.ip("link", "set", "far", "down")
    with pytest.raises(CannotListen, match=r"^The interface 'far' is down: switch it on, or choose one that is up: lo, near\.$"):
        RingSource(["far"])


def test_monitor_frames_are_refused_in_one_sentence(net: Lab, monkeypatch: pytest.MonkeyPatch) -> None:
    """ARPHRD_IEEE80211_RADIOTAP = 803 (linux/if_arp.h)."""
    answer = struct.pack("16sH22x", b"near", 803)
    monkeypatch.setattr(fcntl, "ioctl", lambda *_: answer)
    with pytest.raises(CannotListen, match="can't be read here"):
        RingSource(["near"])
