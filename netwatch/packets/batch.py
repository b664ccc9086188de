"""The one currency: packets in columns, and marks between them.

A source (file, ring, sockets) yields **items**: ``PacketBatch`` or ``Mark``, in one order. Everything behind it is a
pure function of that sequence and the settings, so a capture gives the same answer live and in replay.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Protocol, TypeAlias

import numpy as np
import numpy.typing as npt

TAIL = 256
"""Zero bytes behind the packets, so that a fixed-size header may be read at any packet's start."""

MAX_ROWS = 16_384
MAX_BYTES = 8 << 20

EARLIEST, LATEST = 631_152_000 * 10**9, 7_258_118_400 * 10**9
"""1990 to 2200 (ns): other times say nothing, not even of order."""

DIRECTION_UNKNOWN, DIRECTION_IN, DIRECTION_OUT = 0, 1, 2

NEXT_FILE = "next file"
"""Fact of the mark that stands before a file which begins some time after all before it ended: nothing was recorded meanwhile."""

np.empty(31 << 20, np.uint8)
"""Freed at once: from then on glibc keeps what is freed of that size and gives it out again (mallopt(3), M_MMAP_THRESHOLD moves
up to 32 MiB). Else a block costs hundreds of page faults, up to a fifth of a replay. Nothing is written: it takes no memory."""

U8: TypeAlias = npt.NDArray[np.uint8]
I32: TypeAlias = npt.NDArray[np.int32]
I64: TypeAlias = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Port:
    """An interface that packets came from. ``link_type`` is the number of the capture-file registry (1 = Ethernet)."""

    name: str
    link_type: int
    macs: tuple[bytes, ...] = ()
    networks: tuple[str, ...] = ()
    """Own IPv4 addresses with prefix, as '10.0.0.5/16'."""
    kind: str = "unknown"
    """wired, wifi, tunnel, virtual or unknown."""
    speed: int | None = None
    """Bit/s."""
    source: str = "file"
    """file, ring, library or sockets."""
    made_up: bool = False
    """Headers were made up from plain sockets: no MAC, checksum, TTL or fragment is to be judged."""


def rising(times: I64) -> I64:
    """The running maximum; the same array where times never go back, which is ten times as fast to see."""
    return times if (times[1:] >= times[:-1]).all() else np.maximum.accumulate(times)


COLUMNS = ("start", "caplen", "wirelen", "time", "port", "direction")
"""What a batch has one entry a row of."""


@dataclass(frozen=True, slots=True, eq=False)
class PacketBatch:
    """Up to ``MAX_ROWS`` packets in arrival order. Read-only; owns its bytes."""

    data: U8
    """uint8[L + TAIL], the last TAIL zero."""
    start: I64
    """Byte of ``data`` at which each packet begins."""
    caplen: I32
    """Bytes captured of each packet; start + caplen <= L."""
    wirelen: I32
    """Bytes it had on the wire; never below caplen."""
    time: I64
    """Nanoseconds since 1970 UTC; may go back."""
    port: U8
    """Index into ``ports``."""
    direction: U8
    """0 unknown, 1 in, 2 out."""
    first: int
    """Packet number n of row 0; the rows are consecutive. The first packet of a session is 1."""
    ports: tuple[Port, ...]
    """All ports known so far; only ever grows from item to item."""

    @property
    def rows(self) -> int:
        return len(self.start)

    def part(self, low: int, high: int) -> PacketBatch:
        """Rows low..high, without copying a byte of their packets."""
        kept = {name: getattr(self, name)[low:high] for name in COLUMNS}
        return replace(self, **kept, first=self.first + low)

    def chosen(self, rows: npt.NDArray[Any]) -> PacketBatch:
        """Some rows by index or mask, numbered anew from the batch's first on, without copying a byte of their packets."""
        return replace(self, **{name: getattr(self, name)[rows] for name in COLUMNS})

    def only(self, row: int) -> PacketBatch:
        """One row alone, with a copy of its bytes and nothing else."""
        builder = BatchBuilder(self.ports, self.first + row)
        builder.add(
            self.packet(row), int(self.time[row]), int(self.port[row]), int(self.direction[row]), int(self.wirelen[row])
        )
        return builder.take()

    def packet(self, row: int) -> bytes:
        """The captured bytes of one row."""
        begin = int(self.start[row])
        return self.data[begin : begin + int(self.caplen[row])].tobytes()


@dataclass(frozen=True, slots=True)
class Mark:
    """What a live source puts between packets once a second and port: counters, and what the laptop says of itself."""

    time: int
    """Nanoseconds since 1970 UTC: the clock less 200 ms, since a ring block is handed over at 60 ms at the latest."""
    port: int
    received: int | None
    """Packets since start, as the kernel counts them."""
    dropped: int | None
    """Packets since start that the kernel dropped before we saw them."""
    facts: Mapping[str, Any] | None
    """Link, addresses, Wi-Fi cell, phase, a person's word; None = nothing said."""
    ports: tuple[Port, ...]


Item: TypeAlias = PacketBatch | Mark


@dataclass(slots=True)
class FileSeen:
    """One capture file as it was read; complete once the source is exhausted."""

    name: str
    first: int = 0
    """n of its first packet; 0 while none was read."""
    packets: int = 0
    problem: str | None = None
    """One sentence when it could not be read to its end (cut short, damaged)."""


class Source(Protocol):
    """Yields items until the input ends or ``close`` is called."""

    files: list[FileSeen]

    def __iter__(self) -> Iterator[Item]: ...

    def close(self) -> None: ...


@dataclass(slots=True)
class BatchBuilder:
    """Collects single packets (bytes) into batches: for tests, sockets and slow readers."""

    ports: tuple[Port, ...]
    first: int = 1
    _rows: list[tuple[bytes, int, int, int, int]] = field(default_factory=list)

    def add(self, packet: bytes, time: int, port: int = 0, direction: int = 0, wirelen: int | None = None) -> None:
        """Append one packet; ``time`` in ns, ``wirelen`` defaults to its length."""
        self._rows.append((packet, max(len(packet), wirelen or 0), time, port, direction))

    def take(self) -> PacketBatch:
        """The batch so far; the builder is empty afterwards and goes on counting."""
        rows, self._rows = self._rows, []
        caplen = np.array([len(row[0]) for row in rows], np.int32)
        start = np.zeros(len(rows), np.int64)
        np.cumsum(caplen[:-1], out=start[1:])
        data = np.frombuffer(b"".join(row[0] for row in rows) + bytes(TAIL), np.uint8)
        first, self.first = self.first, self.first + len(rows)
        return PacketBatch(
            data, start, caplen,
            np.array([row[1] for row in rows], np.int32), np.array([row[2] for row in rows], np.int64),
            np.array([row[3] for row in rows], np.uint8), np.array([row[4] for row in rows], np.uint8),
            first, self.ports,
        )
