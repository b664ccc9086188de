"""What else is on a network: a camera's pictures, and a box that asks without end."""

from __future__ import annotations

import itertools
import socket
import struct
import threading
import time
from collections.abc import Callable

from rig.lan import Host
from rig.namespaces import inside

BEHIND = 0.5
"""s of packets that a sender makes up for after the machine was busy."""


class Noise:
    """Packets at a steady rate until stopped."""

    def __init__(self, send: Callable[[int], object], each_second: float) -> None:
        """``send`` is called with 0, 1, 2 ..."""
        self._send, self._pause = send, 1 / each_second
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._loop, daemon=True)
        self._thread.start()

    def _loop(self) -> None:
        due = time.monotonic()
        for number in itertools.count():
            self._send(number)
            due = max(due + self._pause, time.monotonic() - BEHIND)
            if self._over.wait(max(0.0, due - time.monotonic())):
                return

    def stop(self) -> None:
        self._over.set()
        self._thread.join()


def camera(host: Host, mbit: float, group: str = "239.192.7.7") -> Noise:
    """A camera's pictures to a group that nobody asked for, in packets of 1,250 bytes (802.3 frames of 1,292)."""
    with inside(host.name):
        sender = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    sender.connect((group, 5004))
    return Noise(lambda number: sender.send(struct.pack("!I", number).ljust(1250, b"\xa5")), mbit * 1e6 / 8 / 1292)


def asking(host: Host, each_second: float) -> Noise:
    """ARP requests (RFC 826) for one address after the other, as from a program that has gone mad."""
    with inside(host.name):
        sender = socket.socket(socket.AF_PACKET, socket.SOCK_RAW)
        sender.bind(("eth0", 0))
    mac = bytes.fromhex(host.mac.replace(":", ""))
    assert host.address
    own = socket.inet_aton(host.address.split("/")[0])

    def ask(number: int) -> None:
        wanted = bytes((10, 77, number >> 8 & 255, number & 255))
        request = struct.pack("!HHBBH6s4s6s4s", 1, 0x0800, 6, 4, 1, mac, own, bytes(6), wanted)
        sender.send((b"\xff" * 6 + mac + b"\x08\x06" + request).ljust(60, b"\0"))

    return Noise(ask, each_second)
