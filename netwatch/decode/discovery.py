"""E1.31 universe discovery (E1.31-2018 section 8, tables 4-3 and 5-4)."""

from __future__ import annotations

from operator import lt
from struct import Struct

from netwatch.decode.reader import Head, Reader, Unreadable
from netwatch.decode.tables import Discovery
from netwatch.decode.text import clean

# preamble, postamble, identifier, root length, vector, CID, framing length, vector, source name, reserved,
# discovery length, vector, page, last page
_FIXED = Struct(">HH12sHI16sHI64s4xHIBB")
_IDENTIFIER = b"ASC-E1.17\0\0\0"
_FIXED_DISCOVERY = 8
"""Octets of the discovery layer before its list."""


def read(reader: Reader, head: Head) -> Discovery:
    """One page of a source's list; raises Unreadable where a receiver must discard it (5.1 to 5.5, 6.5, 8.2)."""
    (preamble, postamble, identifier, _, root, cid, _, framing, name, length, vector, page, last_page) = reader.fields(
        _FIXED
    )
    if (preamble, postamble, identifier) != (0x10, 0, _IDENTIFIER):
        raise Unreadable("not an ACN packet")
    if (root, framing, vector) != (8, 2, 1):
        raise Unreadable(f"vectors {root}, {framing}, {vector} are not those of universe discovery")
    size = (length & 0x0FFF) - _FIXED_DISCOVERY
    if length >> 12 != 7 or size < 0:
        raise Unreadable(f"discovery length field 0x{length:04x}")
    count = size // 2  # by the length field, not by the size of the datagram (8.1)
    universes = reader.fields(Struct(f">{count}H"))
    return Discovery(
        *head, cid=cid.hex(), name=clean(name), page=page, last_page=last_page, universes=universes,
        sorted_up=all(map(lt, universes, universes[1:])),
    )
