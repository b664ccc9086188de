"""Capture files made by hand from the drafts' tables, for tests of the readers; shares no code with them."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from pathlib import Path
from struct import pack

from netwatch.packets.batch import Item, Mark, PacketBatch

SHARED = Path(os.environ.get("NETWATCH_SHARED") or Path(__file__).resolve().parents[3] / "shared")
CAPTURES = sorted((SHARED / "captures").glob("*/*.pcap*"))
NO_CAPTURES = f"the captures are not at {SHARED / 'captures'} (set NETWATCH_SHARED)"

SECOND = 10**9
START = 1_700_000_000 * SECOND

Row = tuple[int, int, bytes, int, int, int]
"""n, time, bytes, wire length, port, direction."""


def pcap_head(order: str = "<", magic: int = 0xA1B2C3D4, link: int = 1, major: int = 2) -> bytes:
    """Draft-ietf-opsawg-pcap, section 4: magic, version, two reserved words, snap length, link type."""
    return pack(f"{order}IHHIIII", magic, major, 4, 0, 0, 262_144, link)


def pcap_record(
    packet: bytes, seconds: int, fraction: int, order: str = "<", wirelen: int | None = None, extra: bytes = b""
) -> bytes:
    """Draft-ietf-opsawg-pcap, section 5."""
    wire = len(packet) if wirelen is None else wirelen
    return pack(f"{order}IIII", seconds, fraction, len(packet), wire) + extra + packet


def pcap(packets: Iterable[tuple[bytes, int]], *, link: int = 1) -> bytes:
    """A file with times in nanoseconds."""
    records = (pcap_record(packet, time // SECOND, time % SECOND) for packet, time in packets)
    return pcap_head(magic=0xA1B23C4D, link=link) + b"".join(records)


def option(code: int, value: bytes, order: str = "<") -> bytes:
    """Draft-ietf-opsawg-pcapng, section 3.5."""
    return pack(f"{order}HH", code, len(value)) + value + bytes(-len(value) % 4)


def block(kind: int, body: bytes, order: str = "<") -> bytes:
    """Draft-ietf-opsawg-pcapng, section 3.1."""
    total = 12 + len(body) + -len(body) % 4
    return pack(f"{order}II", kind, total) + body + bytes(-len(body) % 4) + pack(f"{order}I", total)


def section(order: str = "<", major: int = 1) -> bytes:
    return block(0x0A0D0D0A, pack(f"{order}IHHq", 0x1A2B3C4D, major, 0, -1), order)


def interface(order: str = "<", link: int = 1, snaplen: int = 0, options: bytes = b"") -> bytes:
    return block(1, pack(f"{order}HHI", link, 0, snaplen) + options, order)


def enhanced(
    packet: bytes, raw: int, order: str = "<", number: int = 0, wirelen: int | None = None, options: bytes = b""
) -> bytes:
    wire = len(packet) if wirelen is None else wirelen
    head = pack(f"{order}IIIII", number, raw >> 32, raw & 0xFFFFFFFF, len(packet), wire)
    return block(6, head + packet + bytes(-len(packet) % 4) + options, order)


def old_packet(packet: bytes, raw: int, order: str = "<", number: int = 0, drops: int = 0) -> bytes:
    head = pack(f"{order}HHIIII", number, drops, raw >> 32, raw & 0xFFFFFFFF, len(packet), len(packet))
    return block(2, head + packet, order)


def simple(packet: bytes, wirelen: int, order: str = "<") -> bytes:
    return block(3, pack(f"{order}I", wirelen) + packet, order)


def statistics(raw: int, order: str = "<", number: int = 0, options: bytes = b"") -> bytes:
    return block(5, pack(f"{order}III", number, raw >> 32, raw & 0xFFFFFFFF) + options, order)


def batch_rows(batch: PacketBatch) -> list[Row]:
    """A batch row by row; checks what contracts 1 demands of every batch."""
    assert batch.data[-256:].tolist() == [0] * 256
    assert 0 < batch.rows <= 16_384
    assert len(batch.data) <= (8 << 20) + 256
    assert not batch.data.flags.writeable
    assert int((batch.start + batch.caplen).max()) <= len(batch.data) - 256
    assert (batch.caplen <= batch.wirelen).all()
    assert int(batch.port.max()) < len(batch.ports) <= 64
    return [
        (
            batch.first + row, int(batch.time[row]), batch.packet(row), int(batch.wirelen[row]),
            int(batch.port[row]), int(batch.direction[row]),
        )
        for row in range(batch.rows)
    ]


def told(items: Iterable[Item]) -> list[Row | Mark]:
    """Rows and marks in order; checks that packets are numbered from 1 and that ports only grow."""
    out: list[Row | Mark] = []
    ports: tuple[object, ...] = ()
    count = 0
    for item in items:
        assert item.ports[: len(ports)] == ports
        ports = item.ports
        if isinstance(item, Mark):
            out.append(item)
            continue
        assert item.first == count + 1
        count += item.rows
        out += batch_rows(item)
    return out


def only_rows(items: Iterable[Item]) -> list[Row]:
    return [row for row in told(items) if not isinstance(row, Mark)]


def packets_of(rows: Sequence[Row]) -> list[bytes]:
    return [row[2] for row in rows]
