"""Frames around payloads, and batches of them, for the column decoders."""

from __future__ import annotations

from collections.abc import Iterable
from ipaddress import IPv4Address
from struct import pack

import numpy as np

from netwatch.decode.columns import decode
from netwatch.decode.tables import Decoded, Kind
from netwatch.packets.batch import TAIL, BatchBuilder, PacketBatch, Port

ETHERNET = 1
MAC = bytes.fromhex("020000000001")
TO_MAC = bytes.fromhex("020000000002")
SRC, DST = "10.0.0.1", "10.0.0.2"


def udp(payload: bytes, dport: int, sport: int = 50_000, length: int | None = None) -> bytes:
    """RFC 768; without checksum."""
    return pack(">HHHH", sport, dport, len(payload) + 8 if length is None else length, 0) + payload


def ipv4(
    body: bytes, src: str = SRC, dst: str = DST, protocol: int = 17, options: bytes = b"", fragment: int = 0,
    total: int | None = None, version_ihl: int | None = None,
) -> bytes:  # fmt: skip
    """RFC 791 3.1; the header checksum is left 0, nobody here judges it."""
    size = 20 + len(options)
    return (
        pack(
            ">BBHHHBBH",
            0x40 | size // 4 if version_ihl is None else version_ihl, 0,
            size + len(body) if total is None else total, 7, fragment, 64, protocol, 0,
        )
        + IPv4Address(src).packed + IPv4Address(dst).packed + options + body
    )  # fmt: skip


def ethernet(body: bytes, type_: int = 0x0800, dst: bytes = TO_MAC, tags: bytes = b"") -> bytes:
    """Padded with 0x55 to the least size of a frame without its checksum, 60 octets (IEEE 802.3 4.2.3.3)."""
    return (dst + MAC + tags + pack(">H", type_) + body).ljust(60, b"\x55")


def e131(payload: bytes, dst: str = "239.255.0.1") -> bytes:
    """An E1.31 packet in its frame."""
    return ethernet(ipv4(udp(payload, 5568, 5568), dst=dst))


def artnet(payload: bytes, dst: str = DST) -> bytes:
    """An Art-Net packet in its frame."""
    return ethernet(ipv4(udp(payload, 6454, 6454), dst=dst))


def batch(packets: Iterable[bytes], link_type: int = ETHERNET, wire: int | None = None) -> PacketBatch:
    """One batch; ``wire`` is the wire length of all of them, if it isn't their own."""
    builder = BatchBuilder((Port("port", link_type),))
    for i, packet in enumerate(packets):
        builder.add(packet, time=i, wirelen=wire)
    return builder.take()


def decoded(*packets: bytes, link_type: int = ETHERNET, wire: int | None = None) -> Decoded:
    return decode(batch(packets, link_type, wire))


def kinds(*packets: bytes, link_type: int = ETHERNET, wire: int | None = None) -> list[Kind]:
    return [Kind(kind) for kind in decoded(*packets, link_type=link_type, wire=wire).frames.kind]


def spaced(packets: list[tuple[bytes, int]], gaps: list[bytes], link_types: tuple[int, ...] = (ETHERNET,)) -> PacketBatch:
    """(packet, wire length) with ``gaps[i]`` behind packet i; the last gap is the tail, where zeros should stand."""
    pieces: list[bytes] = []
    start = []
    at = 0
    for (packet, _), gap in zip(packets, gaps, strict=True):
        start.append(at)
        pieces += packet, gap
        at += len(packet) + len(gap)
    ports = tuple(Port(f"port {i}", link_type) for i, link_type in enumerate(link_types))
    return PacketBatch(
        np.frombuffer(b"".join(pieces), np.uint8), np.array(start, np.int64),
        np.array([len(packet) for packet, _ in packets], np.int32), np.array([wire for _, wire in packets], np.int32),
        np.arange(len(packets), dtype=np.int64), (np.arange(len(packets)) % len(ports)).astype(np.uint8),
        np.zeros(len(packets), np.uint8), 1, ports,
    )  # fmt: skip


def zeros(count: int) -> list[bytes]:
    """Gaps as a source leaves them: none, and the tail of zeros."""
    return [b""] * (count - 1) + [bytes(TAIL)]
