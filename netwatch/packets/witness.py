"""Beside a ring: does light that the card gets also reach programs on this laptop? A firewall stands behind the ring.

A raw socket gets a copy of what the kernel hands on to UDP: after netfilter's input hook, the check of senders and the check of
memberships (net/ipv4/ip_input.c), and before any port. So it holds no port, joins nothing and takes nothing from anybody. Its
buffer is small: some packets a second are enough to tell.
"""

from __future__ import annotations

import ctypes
import socket
import struct
import time

LIGHT_PORTS = (5568, 6454)
"""E1.31 (ACN) and Art-Net."""

HOLDS_S = 2.0
"""What came counts for so long, so that light that rests (1 packet a second, E1.31-2018 6.6.1) is not told off and on."""

_SO_ATTACH_FILTER = 26
_BUFFER = 4_096
_MOST = 256
_INTERFACE = 0x100000000 - 0x1000 + 8
"""SKF_AD_OFF + SKF_AD_IFINDEX of the kernel's filter.h: the interface by which a packet came in."""
_HEAD = 28
"""Octets that are kept of a packet: its headers."""


class Witness:
    """One raw socket for each port of light; ``reached`` tells of which something came. ``OSError`` without the right to it."""

    def __init__(self, index: int) -> None:
        self._sockets: dict[int, socket.socket] = {}
        self._came: dict[int, float] = {}
        try:
            for port in LIGHT_PORTS:
                made = self._sockets[port] = socket.socket(socket.AF_INET, socket.SOCK_RAW, socket.IPPROTO_UDP)
                made.setblocking(False)
                made.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, _BUFFER)
            self.bind(index)
        except OSError:
            self.close()
            raise

    def bind(self, index: int) -> None:
        """Look at the interface with this index from now on; needs no rights."""
        self._came.clear()
        for port, each in self._sockets.items():
            code = _filter(index, port)
            program = ctypes.create_string_buffer(b"".join(code))
            each.setsockopt(socket.SOL_SOCKET, _SO_ATTACH_FILTER, struct.pack("HP", len(code), ctypes.addressof(program)))
            _drain(each)

    def reached(self) -> dict[str, bool]:
        """By UDP port: did anything come since the last call, or in the newest 2 s?"""
        now = time.monotonic()
        for port, each in self._sockets.items():
            if _drain(each):
                self._came[port] = now
        return {str(port): now - self._came.get(port, -HOLDS_S) < HOLDS_S for port in self._sockets}

    def close(self) -> None:
        for each in self._sockets.values():
            each.close()


def _filter(index: int, port: int) -> list[bytes]:
    """Classic BPF (filter.h): by the interface, and by the UDP port behind an IPv4 header of any length."""
    return [struct.pack("HBBI", *step) for step in (
        (0x20, 0, 0, _INTERFACE),  # A = interface
        (0x15, 0, 4, index),
        (0xB1, 0, 0, 0),  # X = length of the IPv4 header
        (0x48, 0, 0, 2),  # A = destination port
        (0x15, 0, 1, port),
        (0x06, 0, 0, _HEAD),
        (0x06, 0, 0, 0),
    )]  # fmt: skip


def _drain(one: socket.socket) -> int:
    """Packets that waited."""
    for number in range(_MOST):
        try:
            one.recv(_HEAD)
        except OSError:
            return number
    return _MOST
