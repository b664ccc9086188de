"""Art-Net frames for stories: replies and polls filled in by hand from the layouts of the specification (Art-Net 4, 1.4di),
levels and sync by the library stupidArtnet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from struct import pack

from stupidArtnet import StupidArtnet

from tests.stories.boxes import Box, box
from tests.stories.frames import EVERYBODY, ip, mac, udp, where_to
from tests.stories.playing import Event, Heard
from tests.stories.script import ns

FED, MERGING, FOLLOWS_E131 = 0x80, 0x08, 0x01
"""GoodOutputA (p.28)."""


def artnet(source: str | Box, payload: bytes, to: str | Box = EVERYBODY) -> bytes:
    """A payload on its way from port 6454 to port 6454 (p.10)."""
    return where_to(box(source), to, None, 17, udp(6454, 6454, payload))


def poll(source: str | Box, flags: int = 0) -> bytes:
    """ArtPoll (p.17)."""
    return artnet(source, b"Art-Net\0" + pack("<H", 0x2000) + pack(">HBB", 14, flags, 0))


def reply(
    source: str | Box,
    outputs: Sequence[int] = (),
    *,
    address: str | None = None,
    node_mac: str | None = None,
    bind: int = 1,
    short: str | None = None,
    long: str | None = None,
    good: int = 0,
    to: str | Box = EVERYBODY,
) -> bytes:
    """ArtPollReply, 239 octets (p.24 to 32); at most four outputs of one Net and Sub-Net."""
    src = box(source)
    base, ports = (outputs[0] if outputs else 0), len(outputs)
    assert all(number >> 4 == base >> 4 for number in outputs)
    assert ports <= 4
    nibbles = bytes(number & 15 for number in outputs).ljust(4, b"\0")
    payload = (
        b"Art-Net\0"
        + pack("<H", 0x2100)
        + ip(src.address if address is None else address)
        + b"\x36\x19"
        + pack(">H", 0x0107)
        + bytes((base >> 8, base >> 4 & 15))
        + pack(">H", 0x00FF)
        + bytes((0, 0xD2))
        + pack("<H", 0x7FF0)
        + (src.name if short is None else short).encode()[:17].ljust(18, b"\0")
        + (src.name if long is None else long).encode()[:63].ljust(64, b"\0")
        + b"#0001 [0042] Power on tests OK".ljust(64, b"\0")
        + pack(">H", ports)
        + (b"\x80" * ports).ljust(4, b"\0")
        + bytes(4)
        + (bytes((good,)) * ports).ljust(4, b"\0")
        + bytes(4)
        + nibbles
        + bytes((100, 0, 0, 0, 0, 0, 0))
        + mac(src.mac if node_mac is None else node_mac)
        + ip(src.address)
        + bytes((bind, 0x08))
    )
    return artnet(src, payload.ljust(239, b"\0"), to)


# ---- by libraries ----


@cache
def _sender() -> StupidArtnet:
    sender = StupidArtnet("127.0.0.1")
    sender.set_simplified(False)
    return sender


def levels(universe: int, slots: bytes) -> bytes:
    """ArtDmx as stupidArtnet makes it; it does not count: its number is 0."""
    sender = _sender()
    sender.set_net(universe >> 8)
    sender.set_subnet(universe >> 4 & 15)
    sender.set_universe(universe & 15)
    sender.set_packet_size(len(slots))
    sender.set(slots)
    return bytes(sender.packet_header + sender.buffer)


def sync(source: str | Box) -> bytes:
    """ArtSync as stupidArtnet makes it, sent to all as p.63 wants it."""
    sender = _sender()
    sender.make_artsync_header()
    return artnet(source, bytes(sender.artsync_header))


def light(
    source: str | Box,
    universes: Sequence[int],
    hz: float = 40,
    start: float = 0,
    stop: float = 10,
    *,
    shown: Callable[[int, int], bytes] = lambda universe, i: bytes(512),
    to: str | Box = EVERYBODY,
) -> list[Event]:
    """ArtDmx of several universes at a steady rate, made by stupidArtnet; ``shown`` = levels of a universe's i-th frame."""
    return [
        Heard(ns(start + i / hz) + universe * 10_000, artnet(source, levels(universe, shown(universe, i)), to))
        for i in range(int((stop - start) * hz))
        for universe in universes
    ]
