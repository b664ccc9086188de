"""IPv4 and UDP headers: from, to, ports, and where each payload stands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from netwatch.decode.link import Links
from netwatch.decode.sorting import Sorting
from netwatch.decode.tables import BROADCAST, MULTICAST, UNICAST, Column, Kind
from netwatch.decode.windows import Header, layout, pick, read

# RFC 791 3.1, without options
_IPV4 = layout(
    20, version_ihl=(0, "u1"), total=(2, ">u2"), fragment=(6, ">u2"), protocol=(9, "u1"), src=(12, ">u4"), dst=(16, ">u4")
)
# RFC 768
UDP = layout(8, sport=(0, ">u2"), dport=(2, ">u2"), length=(4, ">u2"))

PROTOCOL_IGMP, PROTOCOL_UDP = 2, 17
_IS_FRAGMENT = 0x3FFF
"""More fragments, or an offset."""
_LIMITED_BROADCAST = 0xFFFFFFFF
_MULTICAST_CLASS = 0xE
"""The upper four bits of 224.0.0.0/4."""


@dataclass(frozen=True, slots=True, eq=False)
class Datagrams:
    """UDP datagrams over IPv4, one entry each."""

    row: Column
    src: Column
    dst: Column
    sport: Column
    dport: Column
    at: Column
    """Byte of ``data`` where the payload begins."""
    size: Column
    """Payload octets by the length fields."""
    held: Column
    """Payload octets captured."""

    def where(self, mask: Column) -> Datagrams:
        """Those of which ``mask`` is true."""
        rows = np.flatnonzero(mask)
        return Datagrams(
            self.row[rows], self.src[rows], self.dst[rows], self.sport[rows], self.dport[rows], self.at[rows],
            self.size[rows], self.held[rows],
        )  # fmt: skip


def datagrams(sorting: Sorting, link: Links, rows: Column) -> Datagrams:
    """The UDP datagrams among IPv4 ``rows``; IGMP, fragments and everything else is sorted here."""
    at = link.at[rows]
    header = read(sorting.data, at, _IPV4)
    here = sorting.end[rows] - at >= 20
    if not here.all():
        sorting.leave_short(rows[~here])
        rows, at, header = rows[here], at[here], pick(header, here)
    size = (header["version_ihl"] & 15).astype(np.int64) * 4
    good = _good(header, size, sorting.wire_end[rows] - at)
    if not good.all():
        sorting.leave(rows[~good], "bad IPv4 header", Kind.OTHER_IP)
        rows, at, header, size = rows[good], at[good], pick(header, good), size[good]
    sorting.kind[rows] = Kind.OTHER_IP
    sorting.src[rows] = header["src"]
    sorting.dst[rows] = header["dst"]
    body, left = at + size, header["total"] - size
    udp = (header["protocol"] == PROTOCOL_UDP) & (header["fragment"] & _IS_FRAGMENT == 0)
    if not udp.all():
        _sort_others(sorting, rows[~udp], pick(header, ~udp), body[~udp], left[~udp])
        rows, header, body, left = rows[udp], pick(header, udp), body[udp], left[udp]
    return _udp(sorting, rows, header, body, left)


def _good(header: Header, size: Column, wire: Column) -> Column:
    """A header that its receiver accepts: version 4, five words or more, no more octets than the frame had."""
    total = header["total"]
    good: Column = (header["version_ihl"] >> 4 == 4) & (size >= 20) & (total >= size) & (total <= wire)
    return good


def _sort_others(sorting: Sorting, rows: Column, header: Header, body: Column, left: Column) -> None:
    fragment = header["fragment"] & _IS_FRAGMENT != 0
    sorting.kind[rows[fragment]] = Kind.FRAGMENT
    igmp = (header["protocol"] == PROTOCOL_IGMP) & ~fragment
    sorting.rare(rows[igmp], Kind.IGMP, body[igmp], left[igmp])


def _udp(sorting: Sorting, rows: Column, header: Header, at: Column, left: Column) -> Datagrams:
    udp = read(sorting.data, at, UDP)
    here = sorting.end[rows] - at >= 8
    length = udp["length"].astype(np.int64)
    good = here & (left >= 8) & (length >= 8) & (length <= left)
    if not good.all():
        sorting.leave_short(rows[~here & (left >= 8)])
        sorting.leave(rows[~good & (here | (left < 8))], "bad UDP length", Kind.OTHER_IP)
        rows, header, udp, at, length = rows[good], pick(header, good), pick(udp, good), at[good], length[good]
    at, size = at + 8, length - 8
    held = np.minimum(size, sorting.end[rows] - at)
    return Datagrams(rows, header["src"], header["dst"], udp["sport"], udp["dport"], at, size, held)


def cast_of(dst: Column) -> Column:
    """Cast by IPv4 destination (RFC 1122 3.2.1.3), for links that don't tell."""
    multicast = np.where(dst >> 28 == _MULTICAST_CLASS, MULTICAST, UNICAST)
    return np.where(dst == _LIMITED_BROADCAST, BROADCAST, multicast)
