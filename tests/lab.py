"""A small network of its own for a test: an unnamed network namespace, which is gone with the test whatever happens."""

from __future__ import annotations

import ctypes
import os
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import psutil

from netwatch.packets.batch import Item
from netwatch.packets.live import LiveSource

CLONE_NEWNET = 0x40000000
EXPERIMENTAL = b"\x88\xb5"
"""Ethertype that IEEE 802 keeps for experiments: nothing but the test's own frames has it."""

_libc = ctypes.CDLL(None, use_errno=True)


def cannot() -> str | None:
    """Why no namespace can be made here, None if it can."""
    if not sys.platform.startswith("linux"):
        return "network namespaces need Linux"
    if os.geteuid() != 0:
        return "making a network namespace needs root"
    probe = f"import ctypes, sys; sys.exit(ctypes.CDLL(None).unshare({CLONE_NEWNET}) != 0)"
    child = subprocess.run([sys.executable, "-c", probe])
    return "this system does not let us make a network namespace" if child.returncode else None


WHY_NOT = cannot()


class Place:
    """One more namespace, apart from the one that the test is in; it lives as long as its handle or something in it."""

    def __init__(self, handle: int) -> None:
        self.handle = handle

    @contextmanager
    def inside(self) -> Iterator[None]:
        """This thread is there; sockets made meanwhile stay there."""
        home = os.open("/proc/thread-self/ns/net", os.O_RDONLY)
        try:
            _check(_libc.setns(self.handle, CLONE_NEWNET))
            yield
        finally:
            _check(_libc.setns(home, CLONE_NEWNET))
            os.close(home)


class Lab:
    """The namespace that this thread is in; programs started by the test are in it too."""

    @contextmanager
    def place(self, *names: str) -> Iterator[Place]:
        """A namespace apart, into which these interfaces move."""
        home = os.open("/proc/thread-self/ns/net", os.O_RDONLY)
        _check(_libc.unshare(CLONE_NEWNET))
        made = Place(os.open("/proc/thread-self/ns/net", os.O_RDONLY))
        try:
            _quiet()
            self.ip("link", "set", "lo", "up")
            _check(_libc.setns(home, CLONE_NEWNET))
            for name in names:
                self.move(name, made)
            yield made
        finally:
            os.close(made.handle)
            os.close(home)

    def move(self, name: str, place: Place) -> None:
        """An interface of the namespace that we are in goes to another one."""
        words = ["ip", "link", "set", name, "netns", f"/proc/self/fd/{place.handle}"]
        subprocess.run(words, check=True, capture_output=True, pass_fds=(place.handle,))

    def ip(self, *words: str) -> None:
        subprocess.run(["ip", *words], check=True, capture_output=True)

    def pair(self, one: str, other: str, address: str = "", other_mac: str = "") -> None:
        """Two interfaces joined by a cable; an address with prefix for ``other``."""
        self.ip("link", "add", one, "type", "veth", "peer", "name", other, *(("address", other_mac) if other_mac else ()))
        if address:
            self.ip("address", "add", address, "broadcast", "+", "dev", other)
        self.up(one, other)

    def up(self, *names: str) -> None:
        """Switch interfaces on and wait until the last one has a link, for the kernel tells that a little later."""
        for name in names:
            self.ip("link", "set", name, "up")
        until = time.monotonic() + 5
        while not all(psutil.net_if_stats()[name].isup for name in names) and time.monotonic() < until:
            time.sleep(0.005)

    def until(self, condition: Callable[[], object], seconds: float = 10) -> None:
        """Wait until something is so; AssertionError if it takes too long."""
        end = time.monotonic() + seconds
        while not condition():
            assert time.monotonic() < end, "it did not come about"
            time.sleep(0.01)

    def send(self, name: str, *frames: bytes) -> None:
        """Put whole frames on the cable at this interface."""
        with socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0) as sender:
            sender.bind((name, 0))
            for frame in frames:
                sender.send(frame)


def frame(number: int, size: int = 100) -> bytes:
    """A broadcast frame of the experimental type that carries its number."""
    return (b"\xff" * 6 + b"\x02\0\0\0\0\x01" + EXPERIMENTAL + number.to_bytes(4)).ljust(size, b"\0")


def after(seconds: float, source: LiveSource) -> list[Item]:
    """All items from now until so many seconds have gone; then it is closed."""
    items = list(source.items(seconds))
    source.close()
    return items


@contextmanager
def lab() -> Iterator[Lab]:
    """Be in a fresh namespace with loopback up and IPv6 quiet."""
    home = os.open("/proc/thread-self/ns/net", os.O_RDONLY)
    try:
        _check(_libc.unshare(CLONE_NEWNET))
        _quiet()
        made = Lab()
        made.ip("link", "set", "lo", "up")
        yield made
    finally:
        _check(_libc.setns(home, CLONE_NEWNET))
        os.close(home)


def _quiet() -> None:
    """Without IPv6, which would speak by itself."""
    for scope in ("all", "default"):
        Path(f"/proc/sys/net/ipv6/conf/{scope}/disable_ipv6").write_text("1")


def _check(result: int) -> None:
    if result != 0:
        raise OSError(ctypes.get_errno(), os.strerror(ctypes.get_errno()))
