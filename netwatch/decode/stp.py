"""Spanning-tree BPDUs: configuration, topology change notice, RST and MST (IEEE 802.1D-2004 9.3, from memory)."""

from __future__ import annotations

from struct import Struct

from netwatch.decode.reader import Head, Reader, Unreadable
from netwatch.decode.tables import Stp
from netwatch.decode.text import mac_text

_CONFIG, _RST, _NOTICE = 0x00, 0x02, 0x80
_BODY = Struct(">BH6s4xH6sH8x")
"""Flags, root id, path cost (left out), bridge id, port id, four times (left out)."""
_TOPOLOGY_CHANGE = 0x01


def read(reader: Reader, head: Head) -> Stp:
    """One BPDU; raises Unreadable."""
    protocol, version, type_ = reader.u16(), reader.u8(), reader.u8()
    if protocol or type_ not in (_CONFIG, _RST, _NOTICE):
        raise Unreadable(f"protocol {protocol}, type 0x{type_:02x} is no BPDU")
    if type_ == _NOTICE:
        return Stp(*head, version=version, type=type_, topology_change=True, root="", bridge="", port=0)
    flags, root_priority, root, bridge_priority, bridge, port = reader.fields(_BODY)
    return Stp(
        *head, version=version, type=type_, topology_change=bool(flags & _TOPOLOGY_CHANGE),
        root=_bridge(root_priority, root), bridge=_bridge(bridge_priority, bridge), port=port,
    )


def _bridge(priority: int, mac: bytes) -> str:
    """'32768/02:77:00:00:00:fe': the 16 bits of priority and system id in decimal, then the MAC."""
    return f"{priority}/{mac_text(int.from_bytes(mac, 'big')) or '00:00:00:00:00:00'}"
