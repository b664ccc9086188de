"""IGMP versions 1, 2 and 3 (RFC 1112 App. I, RFC 2236, RFC 9776).

Version 1 and 2 hosts send one and the same report when they join and when they answer a query: it is read as a join.
Records that tell neither of joining, leaving nor listening on (an empty MODE_IS_INCLUDE, BLOCK_OLD_SOURCES, unknown
types, which RFC 9776 4.2.13 has ignored) give no entry.
"""

from __future__ import annotations

from struct import Struct

from netwatch.decode.reader import CUT, Head, Reader, Unreadable
from netwatch.decode.tables import Igmp, IgmpRecord, Kind, Noticed
from netwatch.decode.text import address_text

_QUERY, _REPORT_1, _REPORT_2, _LEAVE, _REPORT_3 = 0x11, 0x12, 0x16, 0x17, 0x22
_IS_INCLUDE, _IS_EXCLUDE, _TO_INCLUDE, _TO_EXCLUDE, _ALLOW = 1, 2, 3, 4, 5
_FIXED, _RECORD = Struct(">BB2x"), Struct(">BBHI")
"""Type, code, checksum (left out); record type, length of auxiliary data in words, number of sources, group."""
_MEANING = {  # (record type, has sources), RFC 9776 4.2.13
    (_IS_INCLUDE, True): "still",
    (_IS_EXCLUDE, False): "still", (_IS_EXCLUDE, True): "still",
    (_TO_INCLUDE, False): "leave", (_TO_INCLUDE, True): "still",
    (_TO_EXCLUDE, False): "join", (_TO_EXCLUDE, True): "join",
    (_ALLOW, True): "join",
}


def read(reader: Reader, head: Head) -> Igmp | Noticed:
    """One message; other IGMP types are noticed only. Raises Unreadable."""
    good = _checksum_good(reader)
    type_, code = reader.fields(_FIXED)
    if type_ == _QUERY:
        return _query(reader, head, code, good)
    if type_ == _REPORT_3:
        return Igmp(*head, version=3, what="report", records=_records(reader), checksum_good=good)
    if type_ in (_REPORT_1, _REPORT_2, _LEAVE):
        entry = IgmpRecord(group=_group(reader.u32()), what="leave" if type_ == _LEAVE else "join")
        version = 1 if type_ == _REPORT_1 else 2
        return Igmp(*head, version=version, what="report", records=(entry,), checksum_good=good)
    return Noticed(*head, kind=Kind.IGMP, detail=f"IGMP type 0x{type_:02x}")


def _query(reader: Reader, head: Head, code: int, good: bool) -> Igmp:
    """A query; its version by its length (RFC 9776 7.1)."""
    size, value = len(reader.data), reader.u32()
    group = _group(value) if value else ""
    if size < 12:
        if reader.cut:
            raise Unreadable(CUT)
        if size > 8:
            raise Unreadable(f"a query of {size} octets is of no version")
        version, tenths = (2, code) if code else (1, 100)  # a version 1 query means 10 s
        return Igmp(*head, version=version, what="query", group=group, max_response=tenths / 10, checksum_good=good)
    robustness, interval = reader.u8() & 7, _float(reader.u8())
    sources = reader.u16()
    if sources * 4 > reader.left and not reader.cut:
        raise Unreadable("its sources run past the end")
    # Zero in either field means that the querier does not say (RFC 9776 4.1.6, 4.1.7).
    return Igmp(
        *head, version=3, what="query", group=group, max_response=_float(code) / 10,
        robustness=robustness or None, interval=interval or None, checksum_good=good,
    )


def _records(reader: Reader) -> tuple[IgmpRecord, ...]:
    """The group records of a version 3 report (RFC 9776 4.2)."""
    reader.skip(2)
    found = []
    for _ in range(reader.u16()):
        type_, aux, sources, value = reader.fields(_RECORD)
        reader.skip(4 * (sources + aux))
        what = _MEANING.get((type_, sources > 0))
        if what:
            found.append(IgmpRecord(group=_group(value), what=what))
    return tuple(found)


def _group(value: int) -> str:
    if value >> 28 != 14:
        raise Unreadable(f"group {address_text(value) or '0.0.0.0'} is no multicast address")
    return address_text(value)


def _float(code: int) -> int:
    """Max Resp Code and QQIC: from 128 on a small floating-point number (RFC 9776 4.1.1, 4.1.7)."""
    return code if code < 128 else (code & 15 | 16) << (code >> 4 & 7) + 3


def _checksum_good(reader: Reader) -> bool:
    """Whether the words add up to 0xFFFF (RFC 1071); True where the capture holds only a part.

    The one's complement sum is the remainder by 0xFFFF, since 0x10000 leaves 1.
    """
    data = reader.data
    return reader.cut or int.from_bytes(data + bytes(len(data) & 1), "big") % 0xFFFF == 0
