"""IPv6, as far as light and multicast membership are noticed on it: E1.31 and MLD."""

from __future__ import annotations

import numpy as np

from netwatch.decode.ip import PROTOCOL_UDP, UDP
from netwatch.decode.link import Links
from netwatch.decode.sorting import Sorting
from netwatch.decode.tables import Column, Kind
from netwatch.decode.windows import layout, pick, read

# RFC 8200 3 and 4.3; RFC 4443 2.1
_IPV6 = layout(40, version=(0, "u1"), payload=(4, ">u2"), next=(6, "u1"))
_HOP_BY_HOP = layout(8, next=(0, "u1"), words=(1, "u1"))
_ICMPV6 = layout(1, type=(0, "u1"))

_NEXT_HOP_BY_HOP, _NEXT_ICMPV6 = 0, 58
_E131_PORT = 5568

_IS_MLD = np.zeros(256, np.bool_)
_IS_MLD[[130, 131, 132, 143]] = True
"""RFC 2710 3, RFC 3810 5."""


def sort(sorting: Sorting, link: Links, rows: Column) -> None:
    """E1.31 over IPv6 and MLD become rare; everything else on IPv6 stays OTHER."""
    at = link.at[rows]
    header = read(sorting.data, at, _IPV6)
    here = sorting.end[rows] - at >= 40
    stop = at + 40 + header["payload"]
    good = (header["version"] >> 4 == 6) & (stop <= sorting.wire_end[rows])
    sorting.leave_short(rows[~here])
    sorting.leave(rows[here & ~good], "bad IPv6 header", Kind.OTHER)
    take = np.flatnonzero(here & good)
    rows, at, stop, header = rows[take], at[take] + 40, stop[take], pick(header, take)
    after = header["next"].astype(np.uint8)

    hops = after == _NEXT_HOP_BY_HOP
    option = read(sorting.data, at, _HOP_BY_HOP)
    after[hops] = option["next"][hops]
    room = np.minimum(stop, sorting.end[rows])
    short = hops & (room - at < 8)
    at = at + np.where(hops, (option["words"].astype(np.int64) + 1) * 8, 0)

    for next_, need, reader in ((PROTOCOL_UDP, 8, _udp), (_NEXT_ICMPV6, 1, _icmp)):
        mine = ~short & (after == next_)
        whole = mine & (room - at >= need)
        reader(sorting, rows[whole], at[whole], stop[whole])
        short |= mine & ~whole
    sorting.leave_short(rows[short])


def _udp(sorting: Sorting, rows: Column, at: Column, stop: Column) -> None:
    header = read(sorting.data, at, UDP)
    e131 = header["dport"] == _E131_PORT
    rows, at, header = rows[e131], at[e131] + 8, pick(header, e131)
    size = np.minimum(np.maximum(header["length"].astype(np.int64) - 8, 0), stop[e131] - at)
    sorting.rare(rows, Kind.E131_IPV6, at, size, (header["sport"], header["dport"]))


def _icmp(sorting: Sorting, rows: Column, at: Column, stop: Column) -> None:
    mld = _IS_MLD[read(sorting.data, at, _ICMPV6)["type"]]
    sorting.rare(rows[mld], Kind.MLD, at[mld], stop[mld] - at[mld])
