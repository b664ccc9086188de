"""Blocks and options of the pcapng format, and what ports and marks look like in them (IETF draft-ietf-opsawg-pcapng)."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from ipaddress import IPv4Interface, ip_interface
from struct import pack, unpack, unpack_from
from typing import Any

import numpy as np
import numpy.typing as npt

from ..words.hidden import shown
from .batch import I64, Mark, Port

SECTION, INTERFACE, OLD_PACKET, SIMPLE, STATISTICS, ENHANCED = 0x0A0D0D0A, 1, 2, 3, 5, 6
ORDERS = {b"\x4d\x3c\x2b\x1a": "<", b"\x1a\x2b\x3c\x4d": ">"}

COMMENT = 1
IF_NAME, IF_IPV4, IF_MAC, IF_SPEED, IF_TSRESOL, IF_TSOFFSET = 2, 4, 6, 8, 9, 14
ISB_END, ISB_RECEIVED, ISB_IF_DROPPED, ISB_OS_DROPPED = 3, 4, 5, 7

PORT_KEY, FACTS_KEY = "netwatch-port", "netwatch-facts"
"""Keys of the JSON objects that our own comments hold."""

NS = 1_000_000_000
MAX_OPTION = 65_532
MAX_NAME = 64
_KINDS = ("wired", "wifi", "tunnel", "virtual", "unknown")
_SOURCES = ("file", "ring", "library", "sockets")
_INT64 = np.iinfo(np.int64)


@dataclass(frozen=True, slots=True)
class Clock:
    """How an interface counts time: if_tsresol (6 unless told) and if_tsoffset (s)."""

    resolution: int = 6
    offset: int = 0

    def ns(self, raw: npt.NDArray[np.uint64]) -> I64:
        """Nanoseconds since 1970; what int64 can't hold becomes its nearest value."""
        digits = self.resolution & 0x7F
        if not len(raw) or (self.resolution == 9 and not self.offset):
            return raw.view(np.int64)
        if self.resolution <= 9:
            factor = 10 ** (9 - digits)
            if int(raw.max()) * factor + abs(self.offset) * NS <= _INT64.max:
                return np.asarray(raw.view(np.int64) * factor + self.offset * NS, np.int64)
        unit = 2**digits if self.resolution & 0x80 else 10**digits
        exact = (value * NS // unit + self.offset * NS for value in raw.tolist())
        return np.array([min(max(value, _INT64.min), _INT64.max) for value in exact], np.int64)


@dataclass(frozen=True, slots=True)
class Interface:
    """An interface of a section: the index of its port, its snap length (0 = none) and its clock."""

    port: int
    snaplen: int
    clock: Clock


def options(data: bytes, order: str) -> Iterator[tuple[int, bytes]]:
    """(code, value) pairs up to opt_endofopt, the end, or one that is cut."""
    pos = 0
    while pos + 4 <= len(data):
        code, length = unpack_from(f"{order}HH", data, pos)
        value = data[pos + 4 : pos + 4 + length]
        if code == 0 or len(value) < length:
            return
        yield code, value
        pos += 4 + length + -length % 4


def packed_options(pairs: Iterable[tuple[int, bytes]]) -> bytes:
    """Little-endian options, long values spread over several of the same code, with opt_endofopt."""
    out = []
    for code, value in pairs:
        for low in range(0, max(len(value), 1), MAX_OPTION):
            part = value[low : low + MAX_OPTION]
            out.append(pack("<HH", code, len(part)) + part + bytes(-len(part) % 4))
    return b"".join(out) + bytes(4)


def packed_block(kind: int, body: bytes) -> bytes:
    """A little-endian block."""
    total = len(body) + 12 + -len(body) % 4
    return pack("<II", kind, total) + body + bytes(-len(body) % 4) + pack("<I", total)


def read_interface(body: bytes, order: str, number: int) -> tuple[Port, int, Clock]:
    """Port, snap length and clock of an interface description's body (8 bytes or more)."""
    link, snaplen = unpack_from(f"{order}H2xI", body)
    name, speed, macs, networks = "", None, [], []
    resolution, offset, comment = 6, 0, b""
    for code, value in options(body[8:], order):
        if code == IF_NAME:
            name = shown(value.rstrip(b"\0").decode("utf-8", "replace"))[:MAX_NAME]
        elif code == IF_MAC and len(value) == 6:
            macs.append(value)
        elif code == IF_IPV4 and len(value) == 8:
            networks += _network(value)
        elif code == IF_SPEED and len(value) == 8:
            (speed,) = unpack(f"{order}Q", value)
        elif code == IF_TSRESOL and len(value) == 1:
            resolution = value[0]
        elif code == IF_TSOFFSET and len(value) == 8:
            (offset,) = unpack(f"{order}q", value)
        elif code == COMMENT:
            comment += value
    port = Port(name or f"interface {number}", link, tuple(macs), tuple(networks), speed=speed)
    return _port_from(_object(comment, PORT_KEY), port), snaplen, Clock(resolution, offset)


def written_interface(port: Port) -> bytes:
    """An interface description block with times in nanoseconds; a comment keeps what has no option."""
    pairs = [(IF_NAME, port.name.encode("utf-8", "replace"))]
    pairs += [(IF_IPV4, value) for value in map(_packed_network, port.networks) if value]
    pairs += [(IF_MAC, mac) for mac in port.macs[:1]]
    if port.speed is not None:
        pairs.append((IF_SPEED, pack("<Q", port.speed)))
    pairs.append((IF_TSRESOL, b"\x09"))
    rest = {
        "macs": [mac.hex() for mac in port.macs], "networks": list(port.networks), "kind": port.kind,
        "speed": port.speed, "source": port.source, "made_up": port.made_up,
    }
    pairs.append((COMMENT, json.dumps({PORT_KEY: rest}).encode()))
    return packed_block(INTERFACE, pack("<HHI", port.link_type, 0, 0) + packed_options(pairs))


def read_mark(body: bytes, order: str, interface: Interface, ports: tuple[Port, ...]) -> Mark:
    """A mark from an interface statistics body (12 bytes or more)."""
    high, low = unpack_from(f"{order}4xII", body)
    received: int | None = None
    drops: list[int] = []
    comment = b""
    for code, value in options(body[12:], order):
        if code == COMMENT:
            comment += value
        elif len(value) != 8:
            continue
        elif code == ISB_END:
            high, low = unpack(f"{order}II", value)
        elif code == ISB_RECEIVED:
            (received,) = unpack(f"{order}Q", value)
        elif code in (ISB_IF_DROPPED, ISB_OS_DROPPED):
            drops += unpack(f"{order}Q", value)
    time = interface.clock.ns(np.array([high << 32 | low], np.uint64))
    facts = _object(comment, FACTS_KEY)
    return Mark(int(time[0]), interface.port, received, sum(drops) if drops else None, facts, ports)


def written_mark(mark: Mark) -> bytes:
    """An interface statistics block; the kernel's drops are 'isb_osdrop'."""
    time = mark.time % 2**64
    stamp = pack("<II", time >> 32, time & 0xFFFFFFFF)
    pairs = [(ISB_END, stamp)]
    if mark.received is not None:
        pairs.append((ISB_RECEIVED, pack("<Q", mark.received)))
    if mark.dropped is not None:
        pairs.append((ISB_OS_DROPPED, pack("<Q", mark.dropped)))
    if mark.facts is not None:
        pairs.append((COMMENT, json.dumps({FACTS_KEY: dict(mark.facts)}).encode()))
    return packed_block(STATISTICS, pack("<I", mark.port) + stamp + packed_options(pairs))


def _network(value: bytes) -> list[str]:
    """['10.0.0.5/16'] from address and mask; [] where the mask has holes."""
    address, mask = unpack(">II", value)
    holes = ~mask & 0xFFFFFFFF
    if holes & (holes + 1):
        return []
    return [str(IPv4Interface((address, mask.bit_count())))]


def _packed_network(text: str) -> bytes:
    """Address and mask; b'' for anything but IPv4, which stands in the comment only."""
    try:
        interface = IPv4Interface(text)
    except ValueError:
        return b""
    return interface.ip.packed + interface.netmask.packed


def _object(comment: bytes, key: str) -> dict[str, Any] | None:
    """The JSON object under ``key`` in one of our comments, else None."""
    if not comment.startswith(b'{"' + key.encode() + b'":'):
        return None
    try:
        value = json.loads(comment)[key]
    except (ValueError, KeyError, RecursionError):
        return None
    return value if isinstance(value, dict) else None


def _port_from(kept: Mapping[str, Any] | None, port: Port) -> Port:
    """The port with what our comment says of it; as it was where the comment isn't ours or is wrong."""
    if kept is None:
        return port
    try:
        macs = tuple(bytes.fromhex(mac) for mac in kept["macs"])
        networks = tuple(kept["networks"])
        for network in networks:
            ip_interface(network if isinstance(network, str) else "")  # any other type may stand for a number there
        kind, speed, source, made_up = kept["kind"], kept["speed"], kept["source"], kept["made_up"]
    except (KeyError, TypeError, ValueError):
        return port
    sound = (
        all(len(mac) == 6 for mac in macs) and kind in _KINDS and source in _SOURCES and isinstance(made_up, bool)
        and (speed is None or (type(speed) is int and 0 <= speed < 2**64))
    )
    if not sound:
        return port
    return Port(port.name, port.link_type, macs, networks, kind, speed, source, made_up)
