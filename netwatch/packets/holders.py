"""Which programs on this laptop hold a UDP port."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Collection
from pathlib import Path

import psutil

from netwatch.packets.machine import LINUX

UNNAMED = "another program"
_TABLES = ("udp", "udp6")
_LOCAL, _INODE = 1, 9
"""Columns of the kernel's tables (proc(5), /proc/net/udp)."""


def holder(port: int, own: Collection[int] = ()) -> str | None:
    """Names of the programs that hold a UDP port, None when nobody does; ``own``: file descriptors not to be counted."""
    if LINUX:
        ours = {os.fstat(descriptor).st_ino for descriptor in own}
        if not _inodes(port) - ours:
            return None
        return ", ".join(sorted(_names(port))) or UNNAMED
    return ", ".join(sorted(_names(port))) or None


def _inodes(port: int) -> set[int]:
    """Sockets bound to a port, of all users."""
    found = set()
    for table in _TABLES:
        with contextlib.suppress(OSError):  # a system without IPv6 has no second table
            lines = Path("/proc/thread-self/net", table).read_text().splitlines()[1:]
            rows = [line.split() for line in lines]
            found |= {int(row[_INODE]) for row in rows if int(row[_LOCAL].rpartition(":")[2], 16) == port}
    return found


def _names(port: int) -> set[str]:
    """Names as far as this user may know them."""
    names = set()
    with contextlib.suppress(psutil.AccessDenied):
        for connection in psutil.net_connections("udp"):
            if connection.laddr and connection.laddr.port == port and connection.pid not in (None, os.getpid()):
                with contextlib.suppress(psutil.Error):
                    names.add(psutil.Process(connection.pid).name())
    return names
