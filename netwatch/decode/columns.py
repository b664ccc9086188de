"""Rows in, tables out: decode one batch of packets. No state, no clock, and no bytes that make it raise."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from netwatch.decode import arp, artnet, e131, ipv6, llc
from netwatch.decode.ip import Datagrams, cast_of, datagrams
from netwatch.decode.link import ARP, IPV4, IPV6, LENGTH_MOST, LLDP, Links, links
from netwatch.decode.sorting import Sorting
from netwatch.decode.tables import Arps, Broken, Column, Decoded, Frames, Kind, Levels, Rare, Syncs
from netwatch.packets.batch import PacketBatch

_DHCP_SERVER, _DHCP_CLIENT = 67, 68
"""RFC 2131 4.1; a relay uses the server's port on both sides."""


def decode(batch: PacketBatch) -> Decoded:
    """All that the batch holds; each table is in order of row. Nothing behind a packet's captured octets counts."""
    sorting = Sorting(batch)
    link = links(sorting)
    ipv4 = link.type == IPV4
    if ipv4.any():
        _sort_udp(sorting, datagrams(sorting, link, np.flatnonzero(ipv4)))
    if not ipv4.all():
        _sort_others(sorting, link)
    for rows in link.castless:
        link.cast[rows] = cast_of(sorting.dst[rows])
    return Decoded(
        Frames(sorting.kind, link.segment, link.mac, link.to_mac, link.cast, sorting.src, sorting.dst),
        sorting.table(Levels), sorting.table(Syncs), sorting.table(Arps), sorting.table(Rare), sorting.table(Broken),
        sorting.undecoded,
    )  # fmt: skip


def _sort_udp(sorting: Sorting, rest: Datagrams) -> None:
    """By destination port; what is left stays OTHER_IP."""
    if not len(rest.row):
        return
    for port, sort in ((e131.PORT, e131.sort), (artnet.PORT, artnet.sort)):
        mine = rest.dport == port
        if mine.all():
            sort(sorting, rest)
            return
        if mine.any():
            sort(sorting, rest.where(mine))
            rest = rest.where(~mine)
    dhcp = _is_dhcp(rest.sport) | _is_dhcp(rest.dport)
    if dhcp.any():
        found = rest.where(dhcp)
        sorting.rare(found.row, Kind.DHCP, found.at, found.size, (found.sport, found.dport))


def _is_dhcp(port: Column) -> npt.NDArray[np.bool_]:
    return np.equal(port, _DHCP_SERVER) | np.equal(port, _DHCP_CLIENT)


def _sort_others(sorting: Sorting, link: Links) -> None:
    """Whatever isn't IPv4; what is left stays OTHER."""
    for mask, sort in (
        (link.type == ARP, arp.sort),
        (link.type == IPV6, ipv6.sort),
        (link.type == LLDP, _sort_lldp),
        (link.type <= LENGTH_MOST, llc.sort),
    ):
        if mask.any():
            sort(sorting, link, np.flatnonzero(mask))


def _sort_lldp(sorting: Sorting, link: Links, rows: Column) -> None:
    """LLDP has no length field: its data unit reaches to the end of the frame (IEEE 802.1AB 8.2)."""
    sorting.rare(rows, Kind.LLDP, link.at[rows], (sorting.wire_end - link.at)[rows])
