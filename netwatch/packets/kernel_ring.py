"""One kernel packet ring (AF_PACKET, TPACKET_V3): a socket that listens to one interface and sends nothing."""

from __future__ import annotations

import contextlib
import mmap
import socket
import struct
from typing import NamedTuple

import numpy as np

from netwatch.packets import machine, rights, tpacket
from netwatch.packets.batch import U8

BLOCK = 1 << 20
"""Bytes of a block: the smallest frames still make fewer rows than a batch may have."""
RETIRE_MS = 60

_SOL_PACKET, _ETH_P_ALL = 263, 0x0003
_ADD_MEMBERSHIP, _RX_RING, _STATISTICS, _VERSION, _RESERVE, _IGNORE_OUTGOING = 1, 5, 6, 10, 12, 23
_TPACKET_V3, _PROMISCUOUS = 2, 1
_FRAME = 2048


class Block(NamedTuple):
    opened: int
    """ns."""
    length: int
    packets: int
    first: int
    """Byte of the block at which the first packet's header stands."""


class Ring:
    """One packet socket with its ring."""

    def __init__(self, interface: machine.Interface, size: int) -> None:
        self.interface = interface
        self.link_type = machine.link_type(interface.name)
        self.received = self.dropped = 0
        self.index = 0
        self._next = 0
        self._map: mmap.mmap | None = None
        try:
            self.socket = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)  # 0: nothing arrives before bind
        except PermissionError as error:
            raise machine.CannotListen(rights.how()) from error
        try:
            self._open(size)
            self.bind(interface)
        except OSError as error:
            self.close()
            raise machine.CannotListen(f"{interface.name!r} can't be listened to: {error.strerror}; choose another.") from error

    def _open(self, size: int) -> None:
        self.socket.setsockopt(_SOL_PACKET, _VERSION, _TPACKET_V3)
        self.socket.setsockopt(_SOL_PACKET, _RESERVE, 4)
        self.blocks = max(2, size // BLOCK)
        while True:
            request = (BLOCK, self.blocks, _FRAME, BLOCK // _FRAME * self.blocks, RETIRE_MS, 0, 0)
            try:
                self.socket.setsockopt(_SOL_PACKET, _RX_RING, struct.pack("7I", *request))
                break
            except OSError:
                if self.blocks <= 2:
                    raise
                self.blocks //= 2  # memory is short
        self._map = mmap.mmap(self.socket.fileno(), self.blocks * BLOCK)

    def bind(self, interface: machine.Interface) -> None:
        """Listen on this interface from now on; needs no rights."""
        self.index = socket.if_nametoindex(interface.name)
        if interface.name == "lo":  # there every frame goes out and comes in
            self.socket.setsockopt(_SOL_PACKET, _IGNORE_OUTGOING, 1)
        member = struct.pack("iHH8x", self.index, _PROMISCUOUS, 0)
        with contextlib.suppress(OSError):  # some wireless drivers refuse; what comes anyway is still read
            self.socket.setsockopt(_SOL_PACKET, _ADD_MEMBERSHIP, member)
        self.socket.bind((interface.name, _ETH_P_ALL))
        self.interface = interface

    def ready(self, ahead: int) -> Block | None:
        """The block that stands so many behind the next one, None while it is still the kernel's."""
        assert self._map is not None
        at = (self._next + ahead) % self.blocks * BLOCK
        status, count, first, length = struct.unpack_from("4I", self._map, at + tpacket.STATUS)
        if ahead >= self.blocks or not status & tpacket.OURS:
            return None
        seconds, ns = struct.unpack_from("2I", self._map, at + tpacket.OPENED)
        return Block(seconds * 1_000_000_000 + ns, length, count, first)

    def copy_out(self, target: U8) -> None:
        """Copy the next block and hand it back to the kernel."""
        assert self._map is not None
        at = self._next * BLOCK
        target[:] = np.frombuffer(self._map, np.uint8, len(target), at)
        struct.pack_into("I", self._map, at + tpacket.STATUS, 0)
        self._next = (self._next + 1) % self.blocks

    def count(self) -> None:
        """Add the kernel's counters (which it sets to 0 on reading) to ours."""
        received, dropped, _ = struct.unpack("3I", self.socket.getsockopt(_SOL_PACKET, _STATISTICS, 12))
        self.received += received
        self.dropped += dropped

    def close(self) -> None:
        if self._map is not None:
            self._map.close()
        self.socket.close()
