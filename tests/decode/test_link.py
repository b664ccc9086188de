"""Link headers and tags, with frames built by scapy (its field layouts are the oracle) and by hand."""

from __future__ import annotations

import pytest
from scapy.layers.inet import IP, UDP
from scapy.layers.inet6 import IPv6
from scapy.layers.l2 import ARP, LLC, SNAP, STP, CookedLinux, CookedLinuxV2, Dot1AD, Dot1Q, Dot3, Ether
from scapy.packet import Packet, Raw

from netwatch.decode.columns import decode
from netwatch.decode.tables import BROADCAST, MULTICAST, UNICAST, Kind
from tests.decode.light import ARTNET, E131
from tests.decode.wire import TO_MAC, batch, decoded, e131, ethernet, ipv4, kinds, spaced, udp, zeros

A, B = "02:00:00:00:00:01", "02:00:00:00:00:02"
DATAGRAM = IP(src="10.0.0.1", dst="239.255.0.1") / UDP(sport=5568, dport=5568) / Raw(E131["data-4"])


def number(mac: str) -> int:
    return int(mac.replace(":", ""), 16)


@pytest.mark.parametrize(
    ("tags", "segment"),
    [
        ([], 0),
        ([Dot1Q(vlan=12, prio=5)], 12 << 12),
        ([Dot1AD(vlan=7), Dot1Q(vlan=12)], 7 << 12 | 12),
        ([Dot1Q(vlan=4094), Dot1Q(vlan=1)], 4094 << 12 | 1),
        ([Dot1Q(vlan=0, prio=7)], 0),  # a priority tag is no VLAN (IEEE 802.1Q 9.6)
        ([Dot1Q(vlan=0), Dot1Q(vlan=12)], 12 << 12),
    ],
)
def test_vlan_tags(tags: list[Packet], segment: int) -> None:
    frame: Packet = Ether(src=A, dst=B)
    for tag in tags:
        frame /= tag
    tables = decoded(bytes(frame / DATAGRAM))
    assert tables.frames.segment.tolist() == [segment]
    assert tables.levels.universe.tolist() == [1]


def test_old_type_of_the_outer_tag() -> None:  # 0x9100: common practice, no source
    tables = decoded(ethernet(ipv4(udp(E131["data-4"], 5568)), tags=bytes.fromhex("91000005 81000006")))
    assert (tables.frames.segment[0], tables.frames.kind[0]) == (5 << 12 | 6, Kind.E131_DATA)


def test_third_tag_is_not_looked_into() -> None:
    assert kinds(ethernet(ipv4(b""), tags=bytes.fromhex("81000001" * 3))) == [Kind.OTHER]


def test_macs_and_cast() -> None:
    destinations = [(B, UNICAST), ("01:00:5e:7f:00:01", MULTICAST), ("ff:ff:ff:ff:ff:ff", BROADCAST)]
    frames = decoded(*[bytes(Ether(src=A, dst=to) / DATAGRAM) for to, _ in destinations]).frames
    assert frames.mac.tolist() == [number(A)] * 3
    assert frames.to_mac.tolist() == [number(to) for to, _ in destinations]
    assert frames.cast.tolist() == [cast for _, cast in destinations]
    assert (frames.src.tolist(), frames.dst.tolist()) == ([0x0A000001] * 3, [0xEFFF0001] * 3)


COOKED = [(113, CookedLinux), (276, CookedLinuxV2)]


@pytest.mark.parametrize(("link_type", "header"), COOKED)
def test_cooked(link_type: int, header: type[Packet]) -> None:
    mac = bytes.fromhex("020000000001")
    packets = [
        bytes(header(pkttype=kind, lladdrtype=1, lladdrlen=6, src=mac, proto=0x0800) / DATAGRAM) for kind in range(5)
    ]
    tables = decoded(*packets, link_type=link_type)
    assert tables.levels.universe.tolist() == [1] * 5
    assert tables.frames.mac.tolist() == [number(A)] * 5
    assert tables.frames.to_mac.tolist() == [0] * 5
    # to us, broadcast, multicast, to another host; outgoing doesn't say to whom, so the address does
    assert tables.frames.cast.tolist() == [UNICAST, BROADCAST, MULTICAST, UNICAST, MULTICAST]


@pytest.mark.parametrize(("link_type", "header"), COOKED)
def test_cooked_arp_and_links_without_a_mac(link_type: int, header: type[Packet]) -> None:
    mac = bytes.fromhex("020000000001")
    arp = ARP(op=2, hwsrc=A, psrc="10.0.0.1", hwdst=B, pdst="10.0.0.2")
    tables = decoded(
        bytes(header(pkttype=0, lladdrtype=1, lladdrlen=6, src=mac, proto=0x0806) / arp),
        bytes(header(pkttype=0, lladdrtype=512, lladdrlen=0, src=mac, proto=0x0800) / DATAGRAM),
        bytes(header(pkttype=0, lladdrtype=1, lladdrlen=6, src=mac, proto=4) / LLC(dsap=0x42, ssap=0x42, ctrl=3) / STP()),
        bytes(header(pkttype=0, lladdrtype=1, lladdrlen=6, src=mac, proto=1) / Raw(bytes(30))),
        link_type=link_type,
    )
    assert tables.frames.kind.tolist() == [Kind.ARP, Kind.E131_DATA, Kind.STP, Kind.OTHER]
    assert tables.frames.mac.tolist() == [number(A), 0, number(A), number(A)]
    assert tables.arps.op.tolist() == [2]


def test_cooked_with_a_tag() -> None:
    packet = bytes(CookedLinux(pkttype=2, lladdrtype=1, lladdrlen=6, src=bytes(8), proto=0x8100))
    tables = decoded(packet + bytes.fromhex("0005 0800") + bytes(DATAGRAM), link_type=113)
    assert (tables.frames.segment.tolist(), tables.levels.universe.tolist()) == ([5 << 12], [1])


@pytest.mark.parametrize("link_type", [101, 228, 229])
def test_raw_ip(link_type: int) -> None:
    destinations = ("10.0.0.2", "239.255.0.1", "255.255.255.255", "10.255.255.255")
    packets = [bytes(IP(dst=to) / UDP(dport=6454) / Raw(ARTNET["dmx"])) for to in destinations]
    tables = decoded(*packets, link_type=link_type)
    assert tables.frames.kind.tolist() == [Kind.ARTNET_LEVELS] * 4
    assert tables.frames.cast.tolist() == [UNICAST, MULTICAST, BROADCAST, UNICAST]
    assert not tables.frames.mac.any()
    v6 = bytes(IPv6(dst="ff18::8300:1") / UDP(dport=5568) / Raw(E131["data-4"]))
    tables = decoded(v6, b"\x10" + bytes(30), b"", link_type=link_type)
    assert tables.frames.kind.tolist() == [Kind.E131_IPV6, Kind.UNREAD, Kind.UNREAD]
    assert tables.undecoded == {"no IP version": 1, "too short for its headers": 1}


@pytest.mark.parametrize("link_type", [0, 108])
@pytest.mark.parametrize("order", ["little", "big"])
def test_null_links(link_type: int, order: str) -> None:
    def family(number: int) -> bytes:
        return number.to_bytes(4, "little" if order == "little" else "big")

    v6 = bytes(IPv6(dst="ff18::8300:1") / UDP(dport=5568) / Raw(E131["data-4"]))
    packets = [family(2) + bytes(DATAGRAM), *[family(number) + v6 for number in (24, 28, 30)], family(77) + bytes(40)]
    tables = decoded(*packets, link_type=link_type)
    assert tables.frames.kind.tolist() == [Kind.E131_DATA, *[Kind.E131_IPV6] * 3, Kind.UNREAD]
    assert tables.undecoded == {"no IP family": 1}


def test_unknown_link_type_is_counted() -> None:
    tables = decoded(bytes(60), bytes(60), link_type=105)
    assert tables.frames.kind.tolist() == [Kind.UNREAD] * 2
    assert tables.undecoded == {"link type 105": 2}


def test_ports_of_different_link_types_in_one_batch() -> None:
    frame = e131(E131["data-4"])
    rows = [frame, frame[14:], b"\2\0\0\0" + frame[14:], bytes(40)] * 2
    packets = spaced([(row, len(row)) for row in rows], zeros(8), (1, 101, 0, 127))
    tables = decode(packets)
    assert tables.frames.kind.tolist() == [Kind.E131_DATA, Kind.E131_DATA, Kind.E131_DATA, Kind.UNREAD] * 2
    assert tables.levels.row.tolist() == [0, 1, 2, 4, 5, 6]
    assert tables.frames.segment.tolist() == [0, 1 << 24, 2 << 24, 3 << 24] * 2
    assert tables.frames.mac.tolist() == [0x020000000001, 0, 0, 0] * 2
    assert tables.undecoded == {"link type 127": 2}


def test_spanning_tree() -> None:
    bpdu = STP(bridgemac="02:77:00:00:00:fe", rootmac="02:77:00:00:00:fe")
    plain = bytes(Dot3(src=A, dst="01:80:c2:00:00:00") / LLC(dsap=0x42, ssap=0x42, ctrl=3) / bpdu).ljust(60, b"\0")
    elsewhere = bytes(Dot3(src=A, dst=B) / LLC(dsap=0x42, ssap=0x42, ctrl=3) / bpdu).ljust(60, b"\0")
    snap = LLC(dsap=0xAA, ssap=0xAA, ctrl=3) / SNAP(OUI=0x00000C, code=0x010B)
    per_vlan = bytes(Dot3(src=A, dst="01:00:0c:cc:cc:cd") / snap / bpdu)
    packets = batch([plain, elsewhere, per_vlan])
    rare = decode(packets).rare
    assert (rare.row.tolist(), rare.kind.tolist()) == ([0, 2], [Kind.STP] * 2)
    for i in range(2):
        at, size = int(rare.at[i]), int(rare.size[i])
        assert packets.data[at : at + size].tobytes() == bytes(bpdu)  # without the padding behind it


def test_lldp() -> None:
    unit = bytes.fromhex("0207 04 0277000000fe 0403 07 7031 0602 0078 0000")
    packets = batch([ethernet(unit, 0x88CC, bytes.fromhex("0180c200000e"))])
    rare = decode(packets).rare
    assert (rare.kind.tolist(), rare.at.tolist(), rare.size.tolist()) == ([Kind.LLDP], [14], [46])


def test_arp() -> None:
    arp = ARP(op=1, hwsrc=A, psrc="10.0.0.1", hwdst="00:00:00:00:00:00", pdst="10.0.0.2")
    frame = Ether(src=A, dst="ff:ff:ff:ff:ff:ff") / arp
    tables = decoded(bytes(frame), bytes(Ether(src=A, dst=B) / Dot1Q(vlan=9) / ARP(op=2, hwsrc=A, psrc="10.0.0.1")))
    arps = tables.arps
    assert (arps.row.tolist(), arps.op.tolist(), arps.sha.tolist()) == ([0, 1], [1, 2], [number(A)] * 2)
    assert (arps.spa[0], arps.tha[0], arps.tpa[0]) == (0x0A000001, 0, 0x0A000002)
    assert (tables.frames.src.tolist(), tables.frames.segment.tolist()) == ([0, 0], [0, 9 << 12])


def test_arp_for_something_else_and_cut_arp() -> None:
    body = bytes(ARP(op=1, hwsrc=A, psrc="10.0.0.1"))
    for at in (1, 2, 4, 5):  # hardware, protocol, their sizes
        assert kinds(ethernet(body[:at] + b"\x09" + body[at + 1 :], 0x0806)) == [Kind.OTHER]
    whole = ethernet(body, 0x0806)
    tables = decoded(whole[: 14 + 27], whole[: 14 + 5], wire=60)
    assert tables.frames.kind.tolist() == [Kind.ARP, Kind.ARP]
    assert (len(tables.arps.row), tables.undecoded) == (0, {"cut before headers": 2})


def test_other_protocols() -> None:
    assert kinds(ethernet(bytes(46), 0x9000), ethernet(bytes(46), 0x0600), ethernet(bytes(46), 40)) == [Kind.OTHER] * 3


def test_cut_within_link_header_or_tag() -> None:
    tagged = ethernet(ipv4(b""), tags=bytes.fromhex("81000005"))
    tables = decoded(tagged[:13], tagged[:17], wire=60)
    assert tables.frames.kind.tolist() == [Kind.UNREAD] * 2
    assert tables.frames.to_mac.tolist() == [0, int.from_bytes(TO_MAC)]
    assert tables.undecoded == {"cut before headers": 2}
    assert decoded(tagged[:13], b"").undecoded == {"too short for its headers": 2}
