"""Network namespaces: made by name, entered by one thread at a time."""

from __future__ import annotations

import ctypes
import fcntl
import os
import socket
import struct
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from rig.shelter import NEW_NET, libc

SIOCETHTOOL, ETHTOOL_STXCSUM = 0x8946, 0x17
"""From the kernel's sockios.h and ethtool.h."""


def run(*words: str, check: bool = True) -> str:
    """Run a program to its end; its output. Raises ``RuntimeError`` with what it said."""
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    if check and done.returncode:
        raise RuntimeError(f"{' '.join(words)}: {done.stderr.strip() or done.stdout.strip()}")
    return done.stdout


def make(name: str) -> None:
    """A namespace with loopback up and IPv6 off."""
    run("ip", "netns", "add", name)
    for scope in ("all", "default"):
        sysctl(name, f"ipv6/conf/{scope}/disable_ipv6", "1")
    run("ip", "-n", name, "link", "set", "lo", "up")


@contextmanager
def inside(name: str) -> Iterator[None]:
    """This thread is in the namespace; sockets made meanwhile stay in it."""
    home = os.open("/proc/thread-self/ns/net", os.O_RDONLY)
    there = os.open(f"/run/netns/{name}", os.O_RDONLY)
    try:
        _enter(there)
        yield
    finally:
        _enter(home)
        os.close(there)
        os.close(home)


def whole_checksums(name: str, interface: str = "eth0") -> None:
    """Have the kernel compute checksums itself: otherwise every recorded UDP checksum is unfinished."""
    value = ctypes.create_string_buffer(struct.pack("II", ETHTOOL_STXCSUM, 0))
    request = struct.pack("16sP", interface.encode(), ctypes.addressof(value))
    with inside(name), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as control:
        fcntl.ioctl(control, SIOCETHTOOL, request)


def sysctl(name: str, path: str, value: str) -> None:
    """Set /proc/sys/net/``path`` of the namespace."""
    with inside(name):
        switch = Path(f"/proc/sys/net/{path}")
        if switch.exists():
            switch.write_text(value)


def _enter(handle: int) -> None:
    if libc.setns(handle, NEW_NET) != 0:
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number))
