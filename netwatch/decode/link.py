"""Link headers and VLAN tags: who sent it, to whom, on which segment, and what stands behind them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from netwatch.decode.sorting import Sorting
from netwatch.decode.tables import BROADCAST, MULTICAST, UNICAST, Column
from netwatch.decode.windows import layout, read

IPV4, ARP, IPV6, LLDP = 0x0800, 0x0806, 0x86DD, 0x88CC
LENGTH_MOST = 1_500
"""Up to here the type field is a length and LLC follows (IEEE 802.3 3.2.6)."""
UNKNOWN = 0xFFFF
"""Reserved as an EtherType: the row is left, or nothing is known of its content."""

_ALL_48 = (1 << 48) - 1
_MAC_SIZE = 6

# IEEE 802.3 3.2; the two upper fields are 48 bits and read with the 16 behind them
_ETHERNET = layout(14, dst=(0, ">u8"), src=(6, ">u8"), type=(12, ">u2"))
# IEEE 802.1Q 9.6, from behind the tag's own type: priority and VID, then the type of what follows
_TAG = layout(4, control=(0, ">u2"), type=(2, ">u2"))
# LINKTYPE_LINUX_SLL and LINKTYPE_LINUX_SLL2 of the capture-file registry
_COOKED_1 = layout(16, packet=(0, ">u2"), size=(4, ">u2"), address=(6, ">u8"), type=(14, ">u2"))
_COOKED_2 = layout(20, type=(0, ">u2"), packet=(10, "u1"), size=(11, "u1"), address=(12, ">u8"))
_NULL = layout(4, family=(0, ">u4"))
_RAW = layout(1, version=(0, "u1"))

_COOKED_LLC = 4
_COOKED_OUT = 4
_CASTS = np.array([UNICAST, BROADCAST, MULTICAST, UNICAST], np.uint8)
"""By the packet field of cooked headers: to us, broadcast, multicast, to another host."""

_IS_TAG = np.zeros(1 << 16, np.bool_)
_IS_TAG[[0x8100, 0x88A8, 0x9100]] = True

_BY_VERSION = np.full(256, UNKNOWN, np.uint16)
_BY_VERSION[0x40:0x50], _BY_VERSION[0x60:0x70] = IPV4, IPV6

_FAMILIES = {2: IPV4, 24: IPV6, 28: IPV6, 30: IPV6}
"""BSD address families; the numbers of IPv6 differ from system to system."""


@dataclass(frozen=True, slots=True, eq=False)
class Links:
    """One entry for every row of the batch; all 0 and ``type`` UNKNOWN where the header was not all there."""

    mac: Column
    to_mac: Column
    cast: Column
    segment: Column
    type: Column
    """uint16: EtherType, or a length up to LENGTH_MOST."""
    at: Column
    """int64: byte of ``data`` behind link header and tags."""
    castless: list[Column]
    """Rows whose link header doesn't say to whom: the IP destination tells."""


def links(sorting: Sorting) -> Links:
    """Read all link headers; rows of unknown link types and rows that end too early are left."""
    batch, rows = sorting.batch, sorting.batch.rows
    link = Links(
        np.zeros(rows, np.uint64), np.zeros(rows, np.uint64), np.zeros(rows, np.uint8),
        batch.port.astype(np.uint32) << 24, np.full(rows, UNKNOWN, np.uint16), batch.start.copy(), [],
    )  # fmt: skip
    for link_type, chosen in _by_link_type(sorting):
        reader = _READERS.get(link_type)
        if reader:
            size, need = reader(sorting, link, chosen)
            link.at[chosen] += size
            _clear_short(sorting, link, chosen, need)
        else:
            sorting.leave(np.arange(rows)[chosen], f"link type {link_type}")
    _take_off_tags(sorting, link)
    return link


def _by_link_type(sorting: Sorting) -> Iterator[tuple[int, Any]]:
    """Each link type with the index of its rows; a plain slice in the usual case that there is only one."""
    types = [port.link_type for port in sorting.batch.ports]
    if len(set(types)) == 1:
        yield types[0], slice(None)
        return
    row_types = np.array(types, np.int64)[sorting.batch.port]
    for link_type in np.unique(row_types).tolist():
        yield link_type, np.flatnonzero(row_types == link_type)


def _clear_short(sorting: Sorting, link: Links, chosen: Any, need: int) -> None:
    """What was read behind the end of a packet counts as nothing."""
    short = (sorting.end - sorting.batch.start)[chosen] < need
    if short.any():
        rows = np.arange(sorting.batch.rows)[chosen][short]
        link.mac[rows] = link.to_mac[rows] = link.cast[rows] = 0
        link.type[rows] = UNKNOWN
        sorting.leave_short(rows)


def _ethernet(sorting: Sorting, link: Links, rows: Any) -> tuple[int, int]:
    header = read(sorting.data, link.at[rows], _ETHERNET)
    to_mac = header["dst"] >> 16
    link.to_mac[rows] = to_mac
    link.mac[rows] = header["src"] >> 16
    link.cast[rows] = (to_mac >> 40 & MULTICAST) + (to_mac == _ALL_48)
    link.type[rows] = header["type"]
    return 14, 14


def _cooked_1(sorting: Sorting, link: Links, rows: Any) -> tuple[int, int]:
    return _cooked(sorting, link, rows, read(sorting.data, link.at[rows], _COOKED_1))


def _cooked_2(sorting: Sorting, link: Links, rows: Any) -> tuple[int, int]:
    return _cooked(sorting, link, rows, read(sorting.data, link.at[rows], _COOKED_2))


def _cooked(sorting: Sorting, link: Links, rows: Any, header: Any) -> tuple[int, int]:
    type_ = header["type"].astype(np.uint16)
    low = type_ <= LENGTH_MOST
    type_[low] = np.where(type_[low] == _COOKED_LLC, LENGTH_MOST, UNKNOWN)
    link.type[rows] = type_
    link.mac[rows] = np.where(header["size"] == _MAC_SIZE, header["address"] >> 16, 0)
    link.cast[rows] = _CASTS[header["packet"] & 3]
    link.castless.append(np.arange(sorting.batch.rows)[rows][header["packet"] >= _COOKED_OUT])
    return header.dtype.itemsize, header.dtype.itemsize


def _raw(sorting: Sorting, link: Links, rows: Any) -> tuple[int, int]:
    link.type[rows] = _BY_VERSION[read(sorting.data, link.at[rows], _RAW)["version"]]
    return _castless(sorting, link, rows, 0, "no IP version")


def _null(sorting: Sorting, link: Links, rows: Any) -> tuple[int, int]:
    family = read(sorting.data, link.at[rows], _NULL)["family"].astype(np.uint32)
    type_ = np.full(len(family), UNKNOWN, np.uint16)
    for number, known in _FAMILIES.items():
        type_[(family == number) | (family == number << 24)] = known  # in the recorder's byte order
    link.type[rows] = type_
    return _castless(sorting, link, rows, 4, "no IP family")


def _castless(sorting: Sorting, link: Links, rows: Any, size: int, reason: str) -> tuple[int, int]:
    index = np.arange(sorting.batch.rows)[rows]
    need = size or 1
    link.castless.append(index)
    sorting.leave(index[(link.type[rows] == UNKNOWN) & (sorting.batch.caplen[rows] >= need)], reason)
    return size, need


def _take_off_tags(sorting: Sorting, link: Links) -> None:
    """Up to two VLAN tags into ``segment``; VID 0 is no tag, so an inner VID then stands alone."""
    for _ in range(2):
        tagged = np.flatnonzero(_IS_TAG[link.type])
        if not len(tagged):
            return
        at = link.at[tagged]
        whole = sorting.end[tagged] - at >= 4
        if not whole.all():
            link.type[tagged[~whole]] = UNKNOWN
            sorting.leave_short(tagged[~whole])
            tagged, at = tagged[whole], at[whole]
        tag = read(sorting.data, at, _TAG)
        vid = (tag["control"] & 0x0FFF).astype(np.uint32)
        segment = link.segment[tagged]
        link.segment[tagged] = segment | np.where(segment & 0xFFF000, vid, vid << 12)
        link.type[tagged] = tag["type"]
        link.at[tagged] = at + 4


_READERS: dict[int, Callable[[Sorting, Links, Any], tuple[int, int]]] = {
    1: _ethernet, 113: _cooked_1, 276: _cooked_2, 101: _raw, 228: _raw, 229: _raw, 0: _null, 108: _null,
}  # fmt: skip
