"""A recorder: every frame that an interface hears or sends, into a pcapng file with nanoseconds and directions.

Where the story is about the link itself, it notes once a second whether there is one, in the comment that netwatch reads.
"""

from __future__ import annotations

import fcntl
import json
import socket
import struct
import threading
import time
from ipaddress import IPv4Interface
from pathlib import Path

from psutil import net_if_addrs

from rig.namespaces import inside

ALL_PROTOCOLS, SO_TIMESTAMPNS, OUTGOING = 0x0003, 35, 4
SOL_PACKET, PACKET_STATISTICS, PACKET_AUXDATA = 263, 6, 8
VLAN_VALID = 0x10
"""From the kernel's if_ether.h, socket.h and if_packet.h."""
BUFFER = 32 << 20
SIOCGIFFLAGS, IFF_UP, IFF_RUNNING = 0x8913, 0x1, 0x40
"""From the kernel's sockios.h and if.h."""
LATER = 200_000_000
"""ns that a note lies behind the clock: frames of that moment have been read by then."""


class Recorder:
    """Records one interface until stopped; ``speed`` in bit/s is noted. Block layouts: draft-ietf-opsawg-pcapng."""

    def __init__(self, namespace: str, path: Path, interface: str = "eth0", speed: int | None = None, link: bool = False) -> None:
        """``link``: note once a second whether there is one."""
        with inside(namespace):
            self._socket = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(ALL_PROTOCOLS))
            self._socket.setsockopt(socket.SOL_SOCKET, 33, BUFFER)  # SO_RCVBUFFORCE
            self._socket.setsockopt(socket.SOL_SOCKET, SO_TIMESTAMPNS, 1)
            self._socket.setsockopt(SOL_PACKET, PACKET_AUXDATA, 1)
            self._socket.bind((interface, ALL_PROTOCOLS))
            promiscuous = struct.pack("iHH8s", socket.if_nametoindex(interface), 1, 0, b"")
            self._socket.setsockopt(SOL_PACKET, 1, promiscuous)
            self._addresses = [each for each in net_if_addrs()[interface] if each.family == socket.AF_INET and each.netmask]
        self._socket.settimeout(0.2)
        self._mac = self._socket.getsockname()[4]
        self._file = path.open("wb")
        self._interface, self._noted = interface, 0 if link else None
        self._until = 0
        self.frames = self.newest = 0
        self._head(interface, speed)
        self._thread = threading.Thread(target=self._loop, name=f"recorder {path.name}", daemon=True)
        self._thread.start()

    def wait(self) -> None:
        """It records from the first moment on."""

    def stop(self) -> None:
        """End politely: what has arrived is written, then the counters."""
        self._until = time.time_ns()
        self._thread.join()
        received, dropped = struct.unpack("II", self._socket.getsockopt(SOL_PACKET, PACKET_STATISTICS, 8))
        if self.newest:
            counters = _option(4, struct.pack("<Q", received)) + _option(5, struct.pack("<Q", dropped))
            self._block(5, struct.pack("<I", 0) + _two_words(self.newest) + counters + _option(0, b""))
        self._socket.close()
        self._file.close()

    def _head(self, interface: str, speed: int | None) -> None:
        self._block(0x0A0D0D0A, struct.pack("<IHHq", 0x1A2B3C4D, 1, 0, -1))
        own = [socket.inet_aton(each.address) + socket.inet_aton(each.netmask or "") for each in self._addresses]
        options = _option(2, interface.encode()) + b"".join(_option(4, each) for each in own)
        options += _option(6, self._mac) + _option(9, b"\x09")
        options += _option(8, struct.pack("<Q", speed)) if speed else b""
        self._block(1, struct.pack("<HHI", 1, 0, 0) + options + _option(0, b""))

    def _note_link(self) -> None:
        """Once a second: is there a link?"""
        second = time.time_ns() // 1_000_000_000
        if self._noted is None or second == self._noted:
            return
        self._noted = second
        asked = struct.pack("16sH14x", self._interface.encode(), 0)
        flags = struct.unpack_from("H", fcntl.ioctl(self._socket, SIOCGIFFLAGS, asked), 16)[0]
        own = [str(IPv4Interface(f"{each.address}/{each.netmask}")) for each in self._addresses]
        facts = {"present": True, "up": bool(flags & IFF_UP), "link": bool(flags & IFF_RUNNING), "name": self._interface,
                 "kind": "wired", "mac": self._mac.hex(":"), "addresses": own}
        stamp = _two_words(time.time_ns() - LATER)
        end, comment = _option(3, stamp), _option(1, json.dumps({"netwatch-facts": facts}).encode())
        self._block(5, struct.pack("<I", 0) + stamp + end + comment + _option(0, b""))

    def _loop(self) -> None:
        while True:
            self._note_link()
            try:
                frame, extras, _, sender = self._socket.recvmsg(65_536, 256)
            except TimeoutError:
                if self._until:
                    return
                continue
            stamp = 0
            for level, kind, data in extras:
                if level == socket.SOL_SOCKET and kind == SO_TIMESTAMPNS:
                    seconds, rest = struct.unpack("qq", data)
                    stamp = seconds * 1_000_000_000 + rest
                elif level == SOL_PACKET and kind == PACKET_AUXDATA:
                    frame = _with_tag(frame, data)
            if self._until and stamp > self._until:
                return
            direction = 2 if sender[2] == OUTGOING else 1
            body = struct.pack("<I", 0) + _two_words(stamp) + struct.pack("<II", len(frame), len(frame)) + _padded(frame)
            self._block(6, body + _option(2, struct.pack("<I", direction)) + _option(0, b""))
            self.frames += 1
            self.newest = max(self.newest, stamp)

    def _block(self, kind: int, body: bytes) -> None:
        size = len(body) + 12
        self._file.write(struct.pack("<II", kind, size) + body + struct.pack("<I", size))


def _with_tag(frame: bytes, auxiliary: bytes) -> bytes:
    """The VLAN tag that the kernel took off, put back (struct tpacket_auxdata)."""
    status, _, _, _, _, tag, ethertype = struct.unpack("IIIHHHH", auxiliary[:20])
    if not status & VLAN_VALID:
        return frame
    return frame[:12] + struct.pack("!HH", ethertype or 0x8100, tag) + frame[12:]


def _two_words(stamp: int) -> bytes:
    return struct.pack("<II", stamp >> 32, stamp & 0xFFFFFFFF)


def _padded(data: bytes) -> bytes:
    return data + bytes(-len(data) % 4)


def _option(code: int, value: bytes) -> bytes:
    return struct.pack("<HH", code, len(value)) + _padded(value)
