"""Whole Ethernet frames, filled in by hand from the layouts of the standards that each maker names."""

from __future__ import annotations

from ipaddress import IPv4Address
from struct import pack

from tests.stories.boxes import Box, box

BROADCAST = "ff:ff:ff:ff:ff:ff"
EVERYBODY = "255.255.255.255"
NOBODY = "0.0.0.0"
ALL_HOSTS, ALL_ROUTERS, IGMP_ROUTERS = "224.0.0.1", "224.0.0.2", "224.0.0.22"

DISCOVER, OFFER, REQUEST, DECLINE, ACK, NAK, RELEASE, INFORM = range(1, 9)
PREVIEW, TERMINATED = 0x80, 0x40
"""E1.31-2018 6.2.6."""
PER_ADDRESS_PRIORITY = 0xDD
"""START code (registry of alternate START codes; its use is a maker's, from memory)."""


def mac(text: str) -> bytes:
    return bytes.fromhex(text.replace(":", ""))


def ip(text: str) -> bytes:
    return IPv4Address(text or NOBODY).packed


def ethernet(src: str, dst: str, type_: int, body: bytes, vlan: int | None = None) -> bytes:
    """IEEE 802.3 3.2, tag of 802.1Q 9.6; padded to 60 octets."""
    tag = b"" if vlan is None else pack(">HH", 0x8100, vlan)
    return (mac(dst) + mac(src) + tag + pack(">H", type_) + body).ljust(60, b"\0")


def checksum(data: bytes) -> int:
    """RFC 1071."""
    total = sum(int.from_bytes(data[at : at + 2].ljust(2, b"\0"), "big") for at in range(0, len(data), 2))
    while total >> 16:
        total = (total & 0xFFFF) + (total >> 16)
    return ~total & 0xFFFF


def ipv4(src: str, dst: str, protocol: int, body: bytes, options: bytes = b"", ttl: int = 64) -> bytes:
    """RFC 791 3.1."""
    words = 5 + len(options) // 4
    head = pack(">BBHHHBBH", 0x40 | words, 0, words * 4 + len(body), 1, 0, ttl, protocol, 0) + ip(src) + ip(dst) + options
    return head[:10] + pack(">H", checksum(head)) + head[12:] + body


def udp(sport: int, dport: int, payload: bytes) -> bytes:
    """RFC 768; without checksum."""
    return pack(">HHHH", sport, dport, 8 + len(payload), 0) + payload


def group_mac(group: str) -> str:
    """RFC 1112 6.4: the lower 23 bits of the group."""
    return (0x01005E000000 | int(IPv4Address(group)) & 0x7FFFFF).to_bytes(6, "big").hex(":")


def where_to(src: Box, to: str | Box, vlan: int | None, protocol: int, body: bytes) -> bytes:
    """An IPv4 frame from a box to a group, to all, or to a box."""
    if isinstance(to, Box):
        return ethernet(src.mac, to.mac, 0x0800, ipv4(src.address, to.address, protocol, body), vlan)
    to_mac = group_mac(to) if IPv4Address(to).is_multicast else BROADCAST
    return ethernet(src.mac, to_mac, 0x0800, ipv4(src.address, to, protocol, body), vlan)


# ---- light ----


def universe_group(universe: int) -> str:
    """E1.31-2018 9.3.1."""
    return f"239.255.{universe >> 8}.{universe & 255}"


def e131(
    source: str | Box, universe: int, sequence: int = 0, levels: bytes = bytes(512), *, priority: int = 100, options: int = 0,
    start_code: int = 0, sync: int = 0, to: str | Box | None = None, vlan: int | None = None, name: str | None = None,
) -> bytes:  # fmt: skip
    """E1.31 data, by E1.31-2018 table 4-1."""
    src = box(source)
    slots = 1 + len(levels)
    dmp = pack(">HBBHHHB", 0x7000 | 10 + slots, 0x02, 0xA1, 0, 1, slots, start_code) + levels
    shown = (src.name if name is None else name).encode()[:63].ljust(64, b"\0")
    framing = (
        pack(">HI", 0x7000 | 77 + len(dmp), 2) + shown + pack(">BHBBH", priority, sync, sequence & 255, options, universe) + dmp
    )
    root = pack(">HH12sHI", 0x10, 0, b"ASC-E1.17", 0x7000 | 22 + len(framing), 4) + src.cid + framing
    return where_to(src, universe_group(universe) if to is None else to, vlan, 17, udp(5568, 5568, root))


def artdmx(
    source: str | Box, universe: int, sequence: int = 0, levels: bytes = bytes(512), *, to: str | Box = EVERYBODY,
    vlan: int | None = None,
) -> bytes:
    """ArtDmx: Art-Net 4 (1.4di) p.60."""
    src = box(source)
    head = b"Art-Net\0" + pack("<H", 0x5000) + pack(">HBB", 14, sequence, src.physical) + pack("<H", universe)
    return where_to(src, to, vlan, 17, udp(6454, 6454, head + pack(">H", len(levels)) + levels))


def artpoll(source: str | Box) -> bytes:
    """ArtPoll: Art-Net 4 (1.4di) p.16."""
    return where_to(box(source), EVERYBODY, None, 17, udp(6454, 6454, b"Art-Net\0" + pack("<H", 0x2000) + pack(">HBB", 14, 0, 0)))


def chatter(source: str | Box, to: str | Box = EVERYBODY, port: int = 9, size: int = 20) -> bytes:
    """UDP of no interest (port 9: discard, RFC 863)."""
    return where_to(box(source), to, None, 17, udp(40_000, port, bytes(size)))


# ---- ARP ----


def arp(
    sender: str | Box, asks: str, *, op: int = 1, to: str | Box = BROADCAST, says: str | None = None, vlan: int | None = None
) -> bytes:
    """RFC 826. ``says`` = sender protocol address, if it isn't the box's own."""
    src, target = box(sender), to if isinstance(to, Box) else None
    own = src.address if says is None else says
    wanted = bytes(6) if target is None or op == 1 else mac(target.mac)
    body = pack(">HHBBH", 1, 0x0800, 6, 4, op) + mac(src.mac) + ip(own) + wanted + ip(asks)
    return ethernet(src.mac, target.mac if target else str(to), 0x0806, body, vlan)


def announce(sender: str | Box, address: str | None = None, vlan: int | None = None) -> bytes:
    """RFC 5227 2.3: sender and target address are the same."""
    address = box(sender).address if address is None else address
    return arp(sender, address, says=address, vlan=vlan)


def probe(sender: str | Box, address: str) -> bytes:
    """RFC 5227 2.1.1: the sender address is 0.0.0.0."""
    return arp(sender, address, says=NOBODY)


# ---- DHCP ----


def _option(code: int, value: bytes) -> bytes:
    return bytes((code, len(value))) + value


def dhcp(
    message: int, client: str | Box, *, server: str = "", requested: str = "", ciaddr: str = "", yiaddr: str = "",
    giaddr: str = "",
    mask: str = "", router: str = "", lease: int | None = None, host_name: str = "", xid: int = 0x11223344,
    by: str | Box | None = None,
    broadcast: bool = True, vlan: int | None = None,
) -> bytes:  # fmt: skip
    """RFC 2131 figure 1 and table 5, options of RFC 2132. ``by`` = the box that answers, None = the client speaks."""
    who, answers = box(client), by is not None
    options = b"".join((
        _option(53, bytes((message,))), _option(54, ip(server)) if server else b"",
        _option(50, ip(requested)) if requested else b"",
        _option(51, pack(">I", lease)) if lease is not None else b"", _option(1, ip(mask)) if mask else b"",
        _option(3, ip(router)) if router else b"", _option(12, host_name.encode()) if host_name else b"", b"\xff",
    ))  # fmt: skip
    body = (
        pack(">BBBBIHH", 2 if answers else 1, 1, 6, 0, xid, 0, 0x8000 if broadcast else 0)
        + ip(ciaddr) + ip(yiaddr) + bytes(4) + ip(giaddr) + mac(who.mac).ljust(16, b"\0") + bytes(64 + 128)
        + bytes((99, 130, 83, 99)) + options
    )  # fmt: skip
    if by is None:
        return ethernet(who.mac, BROADCAST, 0x0800, ipv4(ciaddr or NOBODY, EVERYBODY, 17, udp(68, 67, body)), vlan)
    to_mac, to = (BROADCAST, EVERYBODY) if broadcast else (who.mac, yiaddr)
    return ethernet(box(by).mac, to_mac, 0x0800, ipv4(box(by).address, to, 17, udp(67, 68, body)), vlan)


# ---- IGMP ----

_ROUTER_ALERT = bytes.fromhex("94040000")


def _igmp(sender: Box, dst: str, body: bytes, vlan: int | None) -> bytes:
    """RFC 9776 4: TTL 1, router alert."""
    whole = body[:2] + pack(">H", checksum(body)) + body[4:]
    return ethernet(sender.mac, group_mac(dst), 0x0800, ipv4(sender.address, dst, 2, whole, _ROUTER_ALERT, ttl=1), vlan)


def query(
    sender: str | Box = "core switch", *, version: int = 2, group: str = "", interval: int = 125, vlan: int | None = None
) -> bytes:
    """A query; general without a group (RFC 2236 2, RFC 9776 4.1)."""
    body = pack(">BBH", 0x11, 100, 0) + ip(group)
    if version == 3:
        body += pack(">BBH", 2, interval, 0)
    return _igmp(box(sender), group or ALL_HOSTS, body, vlan)


def report(sender: str | Box, group: str, vlan: int | None = None) -> bytes:
    """Version 2 report: a join, or the answer to a query (RFC 2236 2)."""
    return _igmp(box(sender), group, pack(">BBH", 0x16, 0, 0) + ip(group), vlan)


def leave(sender: str | Box, group: str, vlan: int | None = None) -> bytes:
    """Version 2 leave (RFC 2236 2)."""
    return _igmp(box(sender), ALL_ROUTERS, pack(">BBH", 0x17, 0, 0) + ip(group), vlan)


STILL, LEAVES, JOINS = 2, 3, 4
"""Record types without sources (RFC 9776 4.2.13)."""


def report3(sender: str | Box, group: str, what: int = JOINS, vlan: int | None = None) -> bytes:
    """Version 3 report with one record (RFC 9776 4.2)."""
    return _igmp(box(sender), IGMP_ROUTERS, pack(">BBHHHBBH", 0x22, 0, 0, 0, 1, what, 0, 0) + ip(group), vlan)
