"""The three questions as whole Ethernet frames, in the layouts of their standards. Pure; sends nothing."""

from __future__ import annotations

import struct
from ipaddress import IPv4Address

EVERYBODY = b"\xff" * 6
NOBODY = IPv4Address("0.0.0.0")
ALL = IPv4Address("255.255.255.255")
DISCOVER, INFORM = 1, 8
"""DHCP message types (RFC 2132 9.6). A REQUEST is never made here."""
_COOKIE = bytes((99, 130, 83, 99))
_WANTED = bytes((1, 3, 28, 51, 54, 58, 59))
"""Mask, router, broadcast, lease, server, T1, T2 (RFC 2132)."""
_LEAST = 300
"""Octets of a BOOTP message: some servers and relays drop shorter ones (RFC 1542 2.1)."""
ARTNET = 6454


def dhcp(message: int, mac: bytes, xid: int, own: IPv4Address = NOBODY) -> bytes:
    """DISCOVER, or INFORM of the address that we have. Answers are wanted by broadcast, for DISCOVER comes from no address.

    It bears no client identifier: a server takes it for this laptop itself and offers again what the laptop has (RFC 2131 4.3.1).
    """
    options = bytes((53, 1, message, 55, len(_WANTED))) + _WANTED + b"\xff"
    flags = 0x8000 if message == DISCOVER else 0
    body = struct.pack(">BBBBIHH4s12x16s192x", 1, 1, 6, 0, xid, 0, flags, own.packed, mac) + _COOKIE + options
    return _udp(mac, own, ALL, 68, 67, body.ljust(_LEAST, b"\0"))


def artpoll(mac: bytes, own: IPv4Address, everybody: IPv4Address) -> bytes:
    """ArtPoll in its shortest form, 14 octets (Art-Net 4 p.16, 17): no diagnostics, no replies but this once."""
    return _udp(mac, own, everybody, ARTNET, ARTNET, b"Art-Net\0" + struct.pack("<H", 0x2000) + struct.pack(">HBB", 14, 0, 0))


def arp_probe(mac: bytes, address: IPv4Address) -> bytes:
    """A request whose sender address is zero, so that no cache learns anything from it (RFC 5227 2.1.1)."""
    body = struct.pack(">HHBBH6s4s6s4s", 1, 0x0800, 6, 4, 1, mac, NOBODY.packed, bytes(6), address.packed)
    return (EVERYBODY + mac + b"\x08\x06" + body).ljust(60, b"\0")


def _udp(mac: bytes, own: IPv4Address, to: IPv4Address, sport: int, dport: int, payload: bytes) -> bytes:
    """A broadcast datagram (RFC 768, RFC 791, RFC 894)."""
    length = 8 + len(payload)
    pseudo = own.packed + to.packed + struct.pack(">BBH", 0, 17, length)
    sums = _checksum(pseudo + struct.pack(">HHHH", sport, dport, length, 0) + payload) or 0xFFFF
    datagram = struct.pack(">HHHH", sport, dport, length, sums) + payload
    head = struct.pack(">BBHHHBBH4s4s", 0x45, 0, 20 + length, 0, 0, 64, 17, 0, own.packed, to.packed)
    head = head[:10] + struct.pack(">H", _checksum(head)) + head[12:]
    return (EVERYBODY + mac + b"\x08\x00" + head + datagram).ljust(60, b"\0")


def _checksum(data: bytes) -> int:
    """RFC 1071."""
    total: int = sum(struct.unpack(f">{(len(data) + 1) // 2}H", data + bytes(len(data) % 2)))
    while total >> 16:
        total = (total & 0xFFFF) + (total >> 16)
    return ~total & 0xFFFF
