"""ARP for IPv4 over Ethernet (RFC 826)."""

from __future__ import annotations

from netwatch.decode.link import Links
from netwatch.decode.sorting import Sorting
from netwatch.decode.tables import Arps, Column, Kind
from netwatch.decode.windows import layout, pick, read

# The MACs are 48 bits, read with the 16 behind them; the first six octets say which kind of ARP it is
_ARP = layout(
    28, form=(0, ">u8"), op=(6, ">u2"), sha=(8, ">u8"), spa=(14, ">u4"), tha=(18, ">u8"), tpa=(24, ">u4")
)  # fmt: skip
_ETHERNET_IPV4 = 0x0001_0800_06_04
"""Hardware type 1, protocol 0x0800, addresses of 6 and 4 octets."""


def sort(sorting: Sorting, link: Links, rows: Column) -> None:
    """Fill the ARP table; ARP for other hardware or protocols stays OTHER."""
    at = link.at[rows]
    header = read(sorting.data, at, _ARP)
    room = sorting.end[rows] - at
    foreign = (room >= 6) & (header["form"] >> 16 != _ETHERNET_IPV4)
    whole = (room >= 28) & ~foreign
    sorting.leave_short(rows[~whole & ~foreign], Kind.ARP)
    rows, header = rows[whole], pick(header, whole)
    if len(rows):
        sorting.kind[rows] = Kind.ARP
        sorting.add(Arps, {
            "row": rows, "op": header["op"], "sha": header["sha"] >> 16, "spa": header["spa"],
            "tha": header["tha"] >> 16, "tpa": header["tpa"],
        })  # fmt: skip
