"""UDP sockets that take nothing away from other programs, and datagrams read from them as made-up raw-IP packets."""

from __future__ import annotations

import contextlib
import socket
import struct
import sys
import time
from typing import NamedTuple

from netwatch.packets.machine import LINUX

_IP_PKTINFO = 26 if sys.platform == "darwin" else 8
_IP_MULTICAST_ALL, _SO_TIMESTAMPNS, _SO_RXQ_OVFL = 49, 35, 40
_BUFFER = 4 << 20
_ANCILLARY = 256


class Arrival(NamedTuple):
    """One datagram and what the system tells of it."""

    payload: bytes
    sender: tuple[bytes, int]
    """IPv4 address and UDP port."""
    time: int
    """ns."""
    interface: int | None
    """Index of the interface it came in by, None where the system does not tell."""
    to: bytes | None
    """Destination address, None where the system does not tell."""
    overflow: int | None
    """Datagrams that this socket lost since it was opened, where told."""


def open_socket(udp_port: int) -> socket.socket:
    """A socket for a port of all interfaces (why like this: see ``plain``)."""
    held = _unbound()
    try:
        held.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        held.setblocking(False)
        held.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, _BUFFER)
        if LINUX:
            held.setsockopt(socket.IPPROTO_IP, _IP_MULTICAST_ALL, 1)  # groups that others on this laptop have joined
            held.setsockopt(socket.SOL_SOCKET, _SO_TIMESTAMPNS, 1)
            held.setsockopt(socket.SOL_SOCKET, _SO_RXQ_OVFL, 1)
        if sys.platform == "darwin":
            held.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEPORT, 1)
        if hasattr(held, "recvmsg_into"):
            held.setsockopt(socket.IPPROTO_IP, _IP_PKTINFO, 1)
        held.bind(("", udp_port))
    except OSError:
        held.close()
        raise
    return held


def _unbound() -> socket.socket:
    if LINUX:
        with contextlib.suppress(OSError):  # a system without IPv6
            both = socket.socket(socket.AF_INET6, socket.SOCK_DGRAM)
            both.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 0)
            return both
    return socket.socket(socket.AF_INET, socket.SOCK_DGRAM)


def receive(held: socket.socket, buffer: bytearray) -> Arrival | None:
    """The next datagram, None when it is not IPv4; ``BlockingIOError`` when there is none."""
    index = to = overflow = None
    when = time.time_ns()
    if hasattr(held, "recvmsg_into"):
        size, told, _, sender = held.recvmsg_into([buffer], _ANCILLARY)
    else:
        size, sender = held.recvfrom_into(buffer)
        told = []
    for level, kind, value in told:
        if (level, kind) == (socket.IPPROTO_IP, _IP_PKTINFO):
            index, to = int.from_bytes(value[:4], sys.byteorder), value[8:12]
        elif (level, kind, len(value)) == (socket.SOL_SOCKET, _SO_TIMESTAMPNS, 16):
            seconds, ns = struct.unpack("qq", value)
            when = seconds * 1_000_000_000 + ns
        elif (level, kind) == (socket.SOL_SOCKET, _SO_RXQ_OVFL):
            overflow = int.from_bytes(value, sys.byteorder)
    address = sender[0].removeprefix("::ffff:")
    if ":" in address:
        return None
    return Arrival(bytes(memoryview(buffer)[:size]), (socket.inet_aton(address), sender[1]), when, index, to, overflow)


def made_up(sender: tuple[bytes, int], to: tuple[bytes, int], payload: bytes) -> bytes:
    """IPv4 and UDP headers (RFC 791, RFC 768) before a payload; TTL, identification and checksums are 0."""
    size = 8 + len(payload)
    ip = struct.pack("!BBHHHBBH4s4s", 0x45, 0, 20 + size, 0, 0, 0, socket.IPPROTO_UDP, 0, sender[0], to[0])
    return ip + struct.pack("!HHHH", sender[1], to[1], size, 0) + payload
