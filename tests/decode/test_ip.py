"""IPv4, UDP and IPv6: where payloads stand, and headers that can't be true."""

from __future__ import annotations

import pytest
from scapy.layers.inet import ICMP, IP, TCP, UDP, IPOption_Router_Alert
from scapy.layers.inet6 import (
    ICMPv6EchoRequest,
    ICMPv6MLDone,
    ICMPv6MLQuery,
    ICMPv6MLReport,
    ICMPv6MLReport2,
    IPv6,
    IPv6ExtHdrHopByHop,
    RouterAlert,
)
from scapy.layers.l2 import Ether
from scapy.packet import Packet, Raw

from netwatch.decode.columns import decode
from netwatch.decode.tables import Kind
from tests.decode.light import E131
from tests.decode.wire import batch, decoded, ethernet, ipv4, kinds, udp

DATA = E131["data-4"]
LINK = Ether(src="02:00:00:00:00:01", dst="02:00:00:00:00:02")


def payloads(*packets: bytes) -> list[bytes]:
    """What the rare table points at."""
    rows = batch(packets)
    rare = decode(rows).rare
    return [rows.data[at : at + size].tobytes() for at, size in zip(rare.at, rare.size, strict=True)]


@pytest.mark.parametrize("options", [b"", b"\x94\x04\0\0", b"\x01" * 40])
def test_dhcp_behind_any_options_without_padding(options: bytes) -> None:  # RFC 791 3.1
    body = udp(b"payload", 67, 68)
    assert payloads(ethernet(ipv4(body, options=options))) == [b"payload"]


@pytest.mark.parametrize(("sport", "dport"), [(68, 67), (67, 68), (67, 67), (68, 999), (999, 67)])
def test_dhcp_on_either_side(sport: int, dport: int) -> None:
    rare = decoded(ethernet(ipv4(udp(b"x", dport, sport)))).rare
    assert (rare.kind.tolist(), rare.sport.tolist(), rare.dport.tolist()) == ([Kind.DHCP], [sport], [dport])


def test_udp_length_goes_before_ip_length() -> None:  # RFC 768: the length counts header and data
    assert payloads(ethernet(ipv4(udp(b"payload+surplus", 67, length=8 + 7)))) == [b"payload"]


def test_igmp_with_router_alert() -> None:  # RFC 2113, RFC 2236 2
    body = bytes.fromhex("1600f9feefff0001")
    packet = bytes(LINK / IP(dst="239.255.0.1", proto=2, options=[IPOption_Router_Alert()]) / Raw(body)).ljust(60, b"\0")
    assert kinds(packet) == [Kind.IGMP]
    assert payloads(packet) == [body]


def test_other_traffic() -> None:
    packets = [IP() / TCP(dport=5568), IP() / ICMP(), IP() / UDP(dport=53), IP(proto=112)]
    assert kinds(*[bytes(LINK / packet) for packet in packets]) == [Kind.OTHER_IP] * 4


@pytest.mark.parametrize("fragment", [0x2000, 0x2001, 0x0001, 0x1FFF])  # more fragments, or an offset: RFC 791 3.1
def test_fragments_are_not_read(fragment: int) -> None:
    tables = decoded(ethernet(ipv4(udp(DATA, 5568), fragment=fragment)))
    assert tables.frames.kind.tolist() == [Kind.FRAGMENT]
    assert tables.frames.src.tolist() == [0x0A000001]
    assert not tables.undecoded


def test_whole_datagrams_that_may_not_be_fragmented() -> None:
    assert kinds(ethernet(ipv4(udp(DATA, 5568), fragment=0x4000))) == [Kind.E131_DATA]


@pytest.mark.parametrize(
    "header",
    [
        {"version_ihl": 0x55}, {"version_ihl": 0x44}, {"version_ihl": 0x40}, {"total": 0}, {"total": 19},
        {"total": 2000}, {"version_ihl": 0x4F, "total": 59},
    ],
)  # fmt: skip
def test_ip_headers_that_cannot_be(header: dict[str, int]) -> None:
    tables = decoded(ethernet(ipv4(udp(DATA, 5568), **header)))  # type: ignore[arg-type]
    assert tables.frames.kind.tolist() == [Kind.OTHER_IP]
    assert (tables.frames.src.tolist(), tables.undecoded) == ([0], {"bad IPv4 header": 1})


@pytest.mark.parametrize("body", [udp(DATA, 5568, length=7), udp(DATA, 5568, length=9 + len(DATA)), udp(DATA, 5568)[:7]])
def test_udp_lengths_that_cannot_be(body: bytes) -> None:
    tables = decoded(ethernet(ipv4(body)))
    assert (tables.frames.kind.tolist(), tables.undecoded) == ([Kind.OTHER_IP], {"bad UDP length": 1})


def test_cut_headers() -> None:
    whole = ethernet(ipv4(udp(DATA, 5568), options=bytes(8)))
    tables = decoded(whole[: 14 + 19], whole[: 14 + 20], whole[: 14 + 28 + 7], wire=len(whole))
    assert tables.frames.kind.tolist() == [Kind.UNREAD] * 3
    assert tables.frames.src.tolist() == [0, 0x0A000001, 0x0A000001]
    assert tables.undecoded == {"cut before headers": 3}
    other = ethernet(ipv4(bytes(100), protocol=6))
    assert kinds(other[: 14 + 20], wire=len(other)) == [Kind.OTHER_IP]  # known without the rest
    igmp = ethernet(ipv4(bytes(8), protocol=2, options=bytes(4)))
    rare = decoded(igmp[: 14 + 22], igmp[: 14 + 26], wire=len(igmp)).rare
    assert (rare.kind.tolist(), rare.size.tolist(), rare.cut.tolist()) == ([Kind.IGMP] * 2, [0, 2], [True, True])


@pytest.mark.parametrize(
    "message", [ICMPv6MLQuery(), ICMPv6MLReport(), ICMPv6MLDone(), ICMPv6MLReport2()], ids=["130", "131", "132", "143"]
)
@pytest.mark.parametrize("behind_hops", [False, True])
def test_mld(message: Packet, behind_hops: bool) -> None:  # RFC 2710 3, RFC 3810 5: router alert in a hop-by-hop header
    ip: Packet = IPv6(src="fe80::1", dst="ff02::16")
    if behind_hops:
        ip /= IPv6ExtHdrHopByHop(options=[RouterAlert()])
    packet = bytes(LINK / ip / message)
    assert kinds(packet) == [Kind.MLD]
    assert payloads(packet)[0][4:] == bytes(message)[4:]  # all but type, code and checksum, which scapy fills in
    assert payloads(packet)[0][0] == int(message.type)


def test_e131_over_ipv6() -> None:  # E1.31-2018 9.3.2
    packet = bytes(LINK / IPv6(dst="ff18::8300:1") / UDP(sport=1, dport=5568) / Raw(DATA))
    tables = decoded(packet)
    assert (tables.rare.kind.tolist(), tables.rare.dport.tolist()) == ([Kind.E131_IPV6], [5568])
    assert payloads(packet) == [DATA]


def test_other_ipv6() -> None:
    packets = [IPv6() / UDP(dport=53), IPv6() / TCP(dport=5568), IPv6(dst="ff02::1") / ICMPv6EchoRequest()]
    packets.append(IPv6() / IPv6ExtHdrHopByHop() / TCP())
    tables = decoded(*[bytes(LINK / packet) for packet in packets])
    assert tables.frames.kind.tolist() == [Kind.OTHER] * 4
    assert not tables.undecoded


def test_bad_and_cut_ipv6() -> None:
    whole = bytes(LINK / IPv6(dst="ff02::16") / IPv6ExtHdrHopByHop(options=[RouterAlert()]) / ICMPv6MLReport2())
    tables = decoded(*[whole[: 14 + size] for size in (39, 47, 48)], wire=len(whole))
    assert tables.frames.kind.tolist() == [Kind.UNREAD] * 3
    assert tables.undecoded == {"cut before headers": 3}
    tables = decoded(whole[:14] + b"\x40" + whole[15:], whole[:18] + b"\xff\xff" + whole[20:])
    assert (tables.frames.kind.tolist(), tables.undecoded) == ([Kind.OTHER] * 2, {"bad IPv6 header": 2})


def test_hop_by_hop_header_that_reaches_far_behind_the_data() -> None:
    whole = bytes(LINK / IPv6(dst="ff02::16") / IPv6ExtHdrHopByHop(options=[RouterAlert()]) / ICMPv6MLReport2())
    tables = decoded(whole[: 14 + 41] + b"\xff" + whole[14 + 42 :])
    assert (tables.frames.kind.tolist(), tables.undecoded) == ([Kind.UNREAD], {"too short for its headers": 1})
