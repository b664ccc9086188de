"""Frames with a length instead of an EtherType: spanning-tree BPDUs behind LLC."""

from __future__ import annotations

import numpy as np

from netwatch.decode.link import Links
from netwatch.decode.sorting import Sorting
from netwatch.decode.tables import Column, Kind
from netwatch.decode.windows import layout, read

# IEEE 802.2 3.2 and 802 9.2: DSAP, SSAP and control in the upper 24 bits; with SNAP the organisation and its protocol
_LLC = layout(3, head=(0, "u1"), tail=(1, ">u2"))
_SNAP = layout(8, all=(0, ">u8"))

_STP_HEAD, _STP_TAIL = 0x42, 0x4203
_STP_GROUP = 0x0180C2000000
_PER_VLAN = 0xAAAA03_00000C_010B
"""The per-VLAN form in wide use (from memory: no public standard)."""
_PER_VLAN_GROUP = 0x01000CCCCCCD
_UNKNOWN_MAC = 0
"""Cooked links don't keep the destination."""


def sort(sorting: Sorting, link: Links, rows: Column) -> None:
    """BPDUs become rare; everything else stays OTHER."""
    at, to_mac = link.at[rows], link.to_mac[rows]
    room = np.minimum(sorting.end[rows] - at, link.type[rows])
    llc = read(sorting.data, at, _LLC)
    snap = read(sorting.data, at, _SNAP)["all"]
    plain = (llc["head"] == _STP_HEAD) & (llc["tail"] == _STP_TAIL) & (room >= 3)
    per_vlan = (snap == _PER_VLAN) & (room >= 8)
    for is_form, group, size in ((plain, _STP_GROUP, 3), (per_vlan, _PER_VLAN_GROUP, 8)):
        mine = is_form & ((to_mac == group) | (to_mac == _UNKNOWN_MAC))
        end = np.minimum(at + link.type[rows], sorting.wire_end[rows])[mine]
        begin = at[mine] + size
        sorting.rare(rows[mine], Kind.STP, begin, end - begin)
    sorting.leave_short(rows[sorting.cut[rows] & (sorting.end[rows] - at < 3)], Kind.OTHER)
