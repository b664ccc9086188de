"""E1.31: data and synchronization as columns, everything else on its port told apart (ANSI E1.31-2018)."""

from __future__ import annotations

import numpy as np

from netwatch.decode.ip import Datagrams
from netwatch.decode.sorting import CUT, NO_FAULT, Action, Check, Sorting, fault_bits, first_fault, first_that_holds
from netwatch.decode.tables import E131, Column, Fault, Kind, Levels, Syncs
from netwatch.decode.windows import Header, layout, pick, read

PORT = 5568

_DATA_SIZE, _SYNC_SIZE, _DISCOVERY_SIZE = 126, 49, 120
"""Octets of the fixed fields: the least that a packet has (tables 4-1, 4-2, 4-3)."""

# Table 4-1 with table 5-4. ``opening`` is the first 16 octets as two numbers, ``dmp`` has the fixed DMP fields in its
# lower 48 bits: both overlap the single fields, so that one comparison tells whether all of them are right.
_DATA = layout(
    _DATA_SIZE,
    opening=(0, ">u8"), opening_end=(8, ">u8"),
    preamble=(0, ">u2"), postamble=(2, ">u2"), identifier=(4, ">u8"), identifier_end=(12, ">u4"),
    root_length=(16, ">u2"), root_vector=(18, ">u4"), cid_high=(22, ">u8"), cid_low=(30, ">u8"),
    framing_length=(38, ">u2"), framing_vector=(40, ">u4"), name=(44, "V64"), priority=(108, "u1"),
    sync=(109, ">u2"), sequence=(111, "u1"), options=(112, "u1"), universe=(113, ">u2"),
    dmp=(115, ">u8"), dmp_length=(115, ">u2"), dmp_vector=(117, "u1"), dmp_type=(118, "u1"),
    first=(119, ">u2"), increment=(121, ">u2"), count=(123, ">u2"), start_code=(125, "u1"),
)  # fmt: skip
# Table 4-2, seen through the same window
_SYNC = layout(_DATA_SIZE, cid_high=(22, ">u8"), cid_low=(30, ">u8"), sequence=(44, "u1"), address=(45, ">u2"))

_OPENING = int.from_bytes(b"\x00\x10\x00\x00ASC-")
_OPENING_END = int.from_bytes(b"E1.17\0\0\0")
_IDENTIFIER = int.from_bytes(b"ASC-E1.1")
_IDENTIFIER_END = int.from_bytes(b"7\0\0\0")
_DMP, _DMP_MASK = 0x02_A1_0000_0001, 0xFFFF_FFFF_FFFF

_DRAFT, _ROOT_DATA, _ROOT_EXTENDED = 3, 4, 8
_FRAMING_DATA, _FRAMING_SYNC, _FRAMING_DISCOVERY = 2, 1, 2
"""Appendix A. The framing vector has a meaning only together with the root vector."""

_IDENTIFIER_STOP, _ROOT_VECTOR_STOP, _FRAMING_VECTOR_STOP = 16, 22, 44
_NAME_AT = 44
_COUNT_MOST = 513
_OPTIONS_KNOWN = 0xE0
_PRIORITY_MOST = 200
_UNIVERSES = 63_999
_GROUP_BASE = 0xEFFF0000
"""239.255.0.0: the universe's number stands in the lower 16 bits (table 9-10)."""

_NAME_WORDS = np.array([pow(0x9E3779B97F4A7C15, i, 1 << 64) for i in range(1, 9)], np.uint64)
"""Odd, so that a change of one word always changes the fingerprint."""


def sort(sorting: Sorting, datagrams: Datagrams) -> None:
    """All datagrams to port 5568, by root and framing vector (App. A)."""
    header = read(sorting.data, datagrams.at, _DATA)
    opened = (header["opening"] == _OPENING) & (header["opening_end"] == _OPENING_END)
    root, framing = header["root_vector"], header["framing_vector"]
    data = opened & (root == _ROOT_DATA) & (framing == _FRAMING_DATA) & (datagrams.held >= _DATA_SIZE)
    if data.all():
        _data(sorting, datagrams, header)
        return
    sync = opened & (root == _ROOT_EXTENDED) & (framing == _FRAMING_SYNC) & (datagrams.held >= _SYNC_SIZE)
    for mask, action in ((data, _data), (sync, _sync), (~data & ~sync, _others)):
        if mask.any():
            action(sorting, datagrams.where(mask), pick(header, mask))


def _data(sorting: Sorting, datagrams: Datagrams, header: Header) -> None:
    """Data packets with all fixed fields there."""
    fault = first_fault(_refusals(datagrams, header))
    if fault is not None:
        bad = fault != NO_FAULT
        sorting.discard(E131, datagrams.row[bad], fault[bad])
        datagrams, header = datagrams.where(~bad), pick(header, ~bad)
    slots = header["count"].astype(np.int64) - 1
    whole = datagrams.held >= slots + _DATA_SIZE
    name = np.ascontiguousarray(header["name"])
    sorting.kind[datagrams.row] = Kind.E131_DATA
    sorting.add(Levels, {
        "row": datagrams.row, "protocol": E131, "id_hi": header["cid_high"], "id_lo": header["cid_low"],
        "universe": header["universe"], "priority": header["priority"], "sequence": header["sequence"],
        "options": header["options"] & _OPTIONS_KNOWN, "sync": header["sync"], "start_code": header["start_code"],
        "slots": slots, "at": np.where(whole, datagrams.at + _DATA_SIZE, -1),
        "name": name.view(np.uint64).reshape(-1, 8) @ _NAME_WORDS, "name_at": datagrams.at + _NAME_AT,
        "faults": fault_bits(_remarks(datagrams, header, name), len(header)),
    })  # fmt: skip


def _refusals(datagrams: Datagrams, header: Header) -> list[Check]:
    """What a receiver must discard: 7.2 to 7.5, and a count that cannot be (7.6)."""
    count = header["count"].astype(np.int64)
    checks = [
        (Fault.COUNT_RANGE, (count < 1) | (count > _COUNT_MOST)),
        (Fault.TOO_SHORT, count > datagrams.size - (_DATA_SIZE - 1)),
    ]
    if (header["dmp"] & _DMP_MASK == _DMP).all():
        return checks
    return [
        (Fault.DMP_VECTOR, header["dmp_vector"] != 0x02),
        (Fault.DMP_TYPE, header["dmp_type"] != 0xA1),
        (Fault.DMP_FIRST, header["first"] != 0x0000),
        (Fault.DMP_INCREMENT, header["increment"] != 0x0001),
        *checks,
    ]


def _remarks(datagrams: Datagrams, header: Header, name: Column) -> list[Check]:
    """What is decoded and reported."""
    universe, count = header["universe"].astype(np.uint16), header["count"].astype(np.uint16)
    dst = datagrams.dst
    return [
        (Fault.LENGTHS, _lengths_wrong(datagrams, header, count)),
        (Fault.PRIORITY_RANGE, header["priority"] > _PRIORITY_MOST),
        (Fault.UNIVERSE_RANGE, universe - np.uint16(1) >= _UNIVERSES),  # 0 wraps round to the top
        (Fault.NAME_UNENDED, _unended(name)),
        (Fault.WRONG_GROUP, (dst >> 28 == 0xE) & (dst ^ _GROUP_BASE != universe)),
    ]


def _lengths_wrong(datagrams: Datagrams, header: Header, count: Column) -> Column:
    """Flags 0x7 and a length to the end of the packet in each layer (5.4, 6.1, 7.1), nothing behind it."""
    wrong: Column = (
        (header["root_length"] - count != 0x7000 + 109)
        | (header["framing_length"] - count != 0x7000 + 87)
        | (header["dmp_length"] - count != 0x7000 + 10)
        | (datagrams.size - count != _DATA_SIZE - 1)
    )
    return wrong


def _unended(name: Column) -> Column:
    """Names without a null octet (6.2.2). Nearly all end with one, so only the others are searched."""
    octets = name.view(np.uint8).reshape(-1, 64)
    unended: Column = octets[:, -1] != 0
    unended[unended] = octets[unended].all(axis=1)
    return unended


def _sync(sorting: Sorting, datagrams: Datagrams, header: Header) -> None:
    """Synchronization packets with all fixed fields there; a receiver ignores address 0 (6.3.3.1)."""
    header = header.view(_SYNC)
    good = header["address"] != 0
    if not good.all():
        sorting.discard(E131, datagrams.row[~good], Fault.SYNC_ADDRESS_ZERO)
    rows, header = datagrams.row[good], pick(header, good)
    sorting.kind[rows] = Kind.E131_SYNC
    sorting.add(Syncs, {
        "row": rows, "protocol": E131, "id_hi": header["cid_high"], "id_lo": header["cid_low"],
        "address": header["address"], "sequence": header["sequence"],
    })  # fmt: skip


def _others(sorting: Sorting, datagrams: Datagrams, header: Header) -> None:
    """Everything else: for each datagram the first line that holds, in the order of the standard."""
    row, at, size, held = datagrams.row, datagrams.at, datagrams.size, datagrams.held
    root, framing = header["root_vector"], header["framing_vector"]
    named = (header["identifier"] == _IDENTIFIER) & (header["identifier_end"] == _IDENTIFIER_END)
    data, extended = root == _ROOT_DATA, root == _ROOT_EXTENDED
    ports = datagrams.sport, datagrams.dport

    def rare(kind: Kind) -> Action:
        return lambda mine: sorting.rare(row[mine], kind, at[mine], size[mine], (ports[0][mine], ports[1][mine]))

    def short(kind: Kind = Kind.UNREAD) -> Action:
        return lambda mine: sorting.too_short(E131, row[mine], kind)

    def broken(fault: Fault) -> Action:
        return lambda mine: sorting.discard(E131, row[mine], fault)

    first_that_holds([
        ((held < _IDENTIFIER_STOP) & (size >= _IDENTIFIER_STOP), lambda mine: sorting.leave(row[mine], CUT)),
        (~named | (held < _IDENTIFIER_STOP), None),  # not ACN (5.3): stays OTHER_IP
        (held < _ROOT_VECTOR_STOP, short()),
        ((root == _DRAFT) & (framing == _FRAMING_DATA) & (held >= _FRAMING_VECTOR_STOP), rare(Kind.E131_DRAFT)),
        (~data & ~extended, rare(Kind.ACN_OTHER)),  # another protocol, not a broken E1.31 (5.5)
        (header["preamble"] != 0x0010, broken(Fault.E131_PREAMBLE)),  # 5.1
        (header["postamble"] != 0x0000, broken(Fault.E131_POSTAMBLE)),  # 5.2
        (held < _FRAMING_VECTOR_STOP, short()),
        (data & (framing == _FRAMING_DATA), short(Kind.E131_DATA)),  # whole ones are gone by now
        (extended & (framing == _FRAMING_SYNC), short(Kind.E131_SYNC)),
        (~extended | (framing != _FRAMING_DISCOVERY), broken(Fault.E131_FRAMING_VECTOR)),  # 6.5
        (size < _DISCOVERY_SIZE, short(Kind.E131_DISCOVERY)),
        (size >= _DISCOVERY_SIZE, rare(Kind.E131_DISCOVERY)),
    ])  # fmt: skip
