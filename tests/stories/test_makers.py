"""The frames of the stories against independent libraries: scapy's dissectors, dpkt, and packets of the sacn library."""

from __future__ import annotations

import dpkt
import pytest
from sacn.messages.data_packet import DataPacket
from scapy.layers.dhcp import BOOTP, DHCP
from scapy.layers.igmp import IGMP_MQ, IGMPv2_LG, IGMPv2_MR, IGMPv3_MQ, IGMPv3_MR
from scapy.layers.inet import IP, UDP
from scapy.layers.l2 import ARP, Dot1Q, Ether
from stupidArtnet import StupidArtnet

from tests.stories import frames
from tests.stories.boxes import DESK, LAPTOP, SERVER, WALK

GROUP = "239.255.1.2"


def test_e131_is_what_the_sacn_library_reads_and_writes() -> None:
    levels = bytes(range(256)) * 2
    made = frames.e131(DESK, 258, 7, levels, priority=120, options=frames.PREVIEW)
    packet = DataPacket(tuple(DESK.cid), DESK.name, 258, tuple(levels), priority=120, sequence=7, previewData=True)
    assert made[42:] == bytes(packet.getBytes())
    assert DataPacket.make_data_packet(tuple(made[42:])).dmxData == tuple(levels)
    ended = DataPacket(tuple(DESK.cid), DESK.name, 258, tuple(levels), sequence=7, streamTerminated=True)
    assert frames.e131(DESK, 258, 7, levels, options=frames.TERMINATED)[42:] == bytes(ended.getBytes())


def test_e131_goes_to_its_group() -> None:
    """E1.31-2018 9.3.1 and RFC 1112 6.4, read by dpkt."""
    ether = dpkt.ethernet.Ethernet(frames.e131(DESK, 258))
    assert ether.dst.hex(":") == "01:00:5e:7f:01:02"
    assert (ether.data.dst, ether.data.data.dport) == (bytes((239, 255, 1, 2)), 5568)


def test_artdmx_is_what_the_stupidartnet_library_writes() -> None:
    levels = bytes(range(8))
    sender = StupidArtnet("127.0.0.1", 3, 8)
    try:
        sender.set(levels)
        # It counts in ``send``, which we don't call: its number stays at 0.
        assert frames.artdmx(DESK, 3, 0, levels)[42:] == bytes(sender.packet_header + sender.buffer)
    finally:
        sender.close()


@pytest.mark.parametrize(
    ("made", "op", "psrc", "pdst", "dst"),
    [
        (frames.arp(DESK, "10.0.0.1"), 1, DESK.address, "10.0.0.1", frames.BROADCAST),
        (frames.announce(DESK), 1, DESK.address, DESK.address, frames.BROADCAST),
        (frames.probe(DESK, "10.0.0.7"), 1, "0.0.0.0", "10.0.0.7", frames.BROADCAST),
        (frames.arp(DESK, LAPTOP.address, op=2, to=LAPTOP), 2, DESK.address, LAPTOP.address, LAPTOP.mac),
    ],
)
def test_arp(made: bytes, op: int, psrc: str, pdst: str, dst: str) -> None:
    ether = Ether(made)
    arp = ether[ARP]
    assert (arp.op, arp.hwsrc, arp.psrc, arp.pdst, ether.dst) == (op, DESK.mac, psrc, pdst, dst)


def test_dhcp_of_a_client() -> None:
    made = Ether(frames.dhcp(frames.REQUEST, WALK, server=SERVER.address, requested="10.0.0.50", host_name="walk"))
    options = dict(each for each in made[DHCP].options if isinstance(each, tuple))
    assert options == {"message-type": 3, "server_id": SERVER.address, "requested_addr": "10.0.0.50", "hostname": b"walk"}
    assert made[BOOTP].chaddr[:6] == frames.mac(WALK.mac)
    assert (made[IP].src, made[IP].dst, made[UDP].sport, made[UDP].dport) == ("0.0.0.0", "255.255.255.255", 68, 67)


def test_dhcp_of_a_server() -> None:
    """Without the BROADCAST flag an answer goes to the new address by unicast (RFC 2131 4.1)."""
    made = Ether(frames.dhcp(
        frames.ACK, WALK, server=SERVER.address, yiaddr="10.0.0.50", mask="255.255.0.0", router="10.0.0.1", lease=600, by=SERVER,
        broadcast=False,
    ))  # fmt: skip
    options = dict(each for each in made[DHCP].options if isinstance(each, tuple))
    assert (options["subnet_mask"], options["router"], options["lease_time"]) == ("255.255.0.0", "10.0.0.1", 600)
    assert (made[BOOTP].yiaddr, made[IP].dst, made.dst, made.src) == ("10.0.0.50", "10.0.0.50", WALK.mac, SERVER.mac)


@pytest.mark.parametrize(
    ("made", "kind", "type_", "gaddr", "dst"),
    [
        (frames.query(), IGMP_MQ, 0x11, "0.0.0.0", "224.0.0.1"),
        (frames.query(group=GROUP), IGMP_MQ, 0x11, GROUP, GROUP),
        (frames.report(WALK, GROUP), IGMPv2_MR, 0x16, GROUP, GROUP),
        (frames.leave(WALK, GROUP), IGMPv2_LG, 0x17, GROUP, "224.0.0.2"),
    ],
)
def test_igmp_version_2(made: bytes, kind: type, type_: int, gaddr: str, dst: str) -> None:
    packet = Ether(made)
    igmp = packet[kind]
    assert (igmp.type, igmp.gaddr, packet[IP].dst, packet[IP].ttl, packet[IP].options[0].option) == (type_, gaddr, dst, 1, 20)
    assert frames.checksum(bytes(igmp)[:8]) == 0


@pytest.mark.parametrize("what", [frames.STILL, frames.LEAVES, frames.JOINS])
def test_igmp_version_3(what: int) -> None:
    packet = Ether(frames.report3(WALK, GROUP, what))
    record = packet[IGMPv3_MR].records[0]
    assert (packet[IGMPv3_MR].type, record.rtype, record.maddr, packet[IP].dst) == (0x22, what, GROUP, "224.0.0.22")


def test_igmp_version_3_query() -> None:
    igmp = Ether(frames.query(version=3, interval=60))[IGMPv3_MQ]
    assert (igmp.type, igmp.gaddr, igmp.qqic, igmp.qrv) == (0x11, "0.0.0.0", 60, 2)


def test_tags() -> None:
    assert Ether(frames.e131(DESK, 1, vlan=5))[Dot1Q].vlan == 5
