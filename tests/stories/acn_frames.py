"""Other packets of E1.31: synchronization, universe discovery, and data that breaks the standard."""

from __future__ import annotations

from collections.abc import Sequence
from struct import pack

from tests.stories import frames
from tests.stories.boxes import Box, box

DISCOVERY_GROUP = "239.255.250.214"
"""Universe 64214 (E1.31-2018 App. A, 9.3.1)."""
_DATA_AT = 42
"""Where the UDP payload begins: 14 octets of Ethernet, 20 of IPv4, 8 of UDP."""


def _extended(src: Box, framing: bytes, to: str | Box) -> bytes:
    """Root layer with vector 8 (E1.31-2018 table 5-4)."""
    root = pack(">HH12sHI", 0x10, 0, b"ASC-E1.17", 0x7000 | 22 + len(framing), 8) + src.cid + framing
    return frames.where_to(src, to, None, 17, frames.udp(5568, 5568, root))


def sync(source: str | Box, address: int, sequence: int = 0, *, to: str | Box | None = None) -> bytes:
    """A synchronization packet: E1.31-2018 table 4-2."""
    framing = pack(">HIBHH", 0x700B, 1, sequence & 255, address, 0)
    return _extended(box(source), framing, frames.universe_group(address) if to is None else to)


def discovery(source: str | Box, universes: Sequence[int], page: int = 0, last_page: int = 0) -> bytes:
    """One page of a list of universes: E1.31-2018 table 4-3."""
    src = box(source)
    layer = pack(f">HIBB{len(universes)}H", 0x7000 | 8 + 2 * len(universes), 1, page, last_page, *universes)
    framing = pack(">HI", 0x7000 | 74 + len(layer), 2) + src.name.encode().ljust(64, b"\0") + bytes(4) + layer
    return _extended(src, framing, DISCOVERY_GROUP)


def broken(frame: bytes, offset: int, value: int) -> bytes:
    """The same frame with another octet at an offset of its E1.31 packet (E1.31-2018 table 4-1)."""
    return frame[: _DATA_AT + offset] + bytes((value,)) + frame[_DATA_AT + offset + 1 :]
