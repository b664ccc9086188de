"""What is kept of a packet. Offsets against frames of independent libraries (sacn, stupidArtnet, scapy)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
import sacn.messages.data_packet as sacn_data
from hypothesis import given, settings
from hypothesis import strategies as st
from scapy.layers.dns import DNS, DNSQR
from scapy.layers.inet import IP, TCP, UDP
from scapy.layers.inet6 import IPv6
from scapy.layers.l2 import ARP, Dot1Q, Ether
from scapy.packet import Raw

from netwatch.decode.columns import decode
from netwatch.decode.tables import Kind
from netwatch.packets.batch import BatchBuilder, PacketBatch, Port
from netwatch.record.cutting import Cutter
from tests.stories import artnet_frames, frames
from tests.stories.playing import START

LEVELS = bytes(range(1, 201)) * 2
CID = tuple(range(16))


def batch(packets: Sequence[bytes], link: int = 1, wire: int | None = None) -> PacketBatch:
    builder = BatchBuilder((Port("eth0", link),))
    for place, packet in enumerate(packets):
        builder.add(packet, START + place * 25_000_000, wirelen=wire)
    return builder.take()


def kept(packets: Sequence[bytes], cutter: Cutter | None = None, link: int = 1, wire: int | None = None) -> list[bytes]:
    made = batch(packets, link, wire)
    cut = (cutter or Cutter()).cut(made, decode(made))
    assert (cut.wirelen == made.wirelen).all()
    return [cut.packet(row) for row in range(cut.rows)]


def e131(levels: bytes = LEVELS, universe: int = 1, tags: int = 0) -> bytes:
    """By the sacn library, behind scapy's headers."""
    data = sacn_data.DataPacket(cid=CID, sourceName="gatehouse desk", universe=universe, dmxData=tuple(levels.ljust(512, b"\0")))
    head = Ether(src="02:00:00:00:00:10", dst="01:00:5e:7f:00:01")
    for tag in range(tags):
        head /= Dot1Q(vlan=10 + tag)
    return bytes(head / IP(src="10.0.0.10", dst="239.255.0.1") / UDP(sport=5568, dport=5568) / Raw(bytes(data.getBytes())))


def artnet(levels: bytes = LEVELS) -> bytes:
    """By the stupidArtnet library."""
    payload = artnet_frames.levels(3, levels.ljust(512, b"\0"))
    return bytes(
        Ether(src="02:00:00:00:00:11") / IP(src="10.0.0.11", dst="10.0.0.21") / UDP(sport=6454, dport=6454) / Raw(payload)
    )


@pytest.mark.parametrize("frame", [e131(), artnet(), e131(tags=1), e131(tags=2)], ids=["sacn", "artnet", "vlan", "two tags"])
def test_a_frame_that_says_nothing_new_loses_its_slots_alone(frame: bytes) -> None:
    first, second, third = kept([frame, frame, frame])
    assert first == frame
    assert second == third == frame[: len(frame) - 512]


def test_a_frame_that_says_something_new_stays() -> None:
    one, other = e131(), e131(b"\2" + LEVELS[1:])
    assert kept([one, other, one, one])[:3] == [one, other, one]


def test_streams_are_told_apart() -> None:
    packets = [e131(), e131(universe=2), artnet(), e131(), e131(universe=2), artnet()]
    assert [len(a) == len(b) for a, b in zip(kept(packets), packets, strict=True)] == [True] * 3 + [False] * 3


def test_it_remembers_over_batches_until_a_new_file_begins() -> None:
    cutter = Cutter()
    assert kept([e131()], cutter) == [e131()]
    assert kept([e131()], cutter) != [e131()]
    cutter.forget()
    assert kept([e131()], cutter) == [e131()]


def test_whole_keeps_all_light() -> None:
    assert kept([e131()] * 3, Cutter(whole=True)) == [e131()] * 3


@pytest.mark.parametrize("frame", [e131(), artnet(), e131(tags=2)], ids=["sacn", "artnet", "two tags"])
@pytest.mark.parametrize("snap", [600, 300, 200])
def test_headers_only_keeps_no_level(frame: bytes, snap: int) -> None:
    """Also of frames that the capture has cut already."""
    (cut,) = kept([frame[:snap]], Cutter(headers_only=True), wire=len(frame))
    assert cut == frame[: len(frame) - 512]


def test_headers_only_keeps_no_level_of_what_receivers_discard() -> None:
    frame = bytearray(e131())
    frame[14 + 20 + 8 + 113] ^= 0xFF  # DMP first address (E1.31-2018 7.3)
    (cut,) = kept([bytes(frame)], Cutter(headers_only=True))
    assert LEVELS[20:28] not in cut


@pytest.mark.parametrize(
    ("packet", "size"),
    [
        (Ether() / IP(dst="10.0.0.1") / UDP(sport=999, dport=53) / DNS(qd=DNSQR(qname="my.secret.example")), 14 + 20 + 8),
        (Ether() / IP(dst="10.0.0.1") / TCP(dport=80) / Raw(b"GET /secret"), 14 + 20 + 20),
        (Ether() / Dot1Q(vlan=7) / IP(dst="10.0.0.1") / UDP(dport=5353) / Raw(b"secret" * 9), 18 + 20 + 8),
        (Ether() / IPv6(dst="fe80::1") / UDP(dport=5353) / Raw(b"secret" * 9), 14 + 40 + 8),
        (Ether(type=0x9999) / Raw(b"\1" * 20 + b"secret" * 9), 34),
    ],
)
def test_other_peoples_packets_lose_their_content(packet: Ether, size: int) -> None:
    (cut,) = kept([bytes(packet)])
    assert cut == bytes(packet)[:size]
    assert b"secret" not in cut


def test_the_rigs_own_talk_stays() -> None:
    packets = [
        bytes(Ether(dst="ff:ff:ff:ff:ff:ff") / ARP(pdst="10.0.0.1")).ljust(60, b"\0"),
        frames.dhcp(frames.DISCOVER, "mill pond", host_name="mill pond"),
    ]
    assert kept(packets, Cutter(headers_only=True)) == packets


@given(packets=st.lists(st.binary(max_size=200), min_size=1, max_size=6), link=st.sampled_from([1, 101, 113, 0, 147]))
@settings(max_examples=150, deadline=None)
def test_any_bytes_can_be_cut(packets: list[bytes], link: int) -> None:
    for cutter in (Cutter(), Cutter(headers_only=True)):
        for cut, packet in zip(kept(packets, cutter, link), packets, strict=True):
            assert packet.startswith(cut)


def test_what_was_cut_is_decoded_as_what_it_was() -> None:
    packets = [e131(), e131(), artnet(), artnet()]
    for cutter in (Cutter(), Cutter(headers_only=True)):
        made = batch(packets)
        decoded = decode(cutter.cut(made, decode(made)))
        assert decoded.frames.kind.tolist() == [Kind.E131_DATA] * 2 + [Kind.ARTNET_LEVELS] * 2
        assert not decoded.undecoded
        assert np.array_equal(decoded.levels.universe, decode(made).levels.universe)
