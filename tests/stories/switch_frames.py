"""What switches say of themselves: spanning tree (IEEE 802.1D-2004 9.3) and LLDP (IEEE 802.1AB 8); both from memory."""

from __future__ import annotations

from struct import pack

from tests.stories.boxes import SWITCH, Box
from tests.stories.frames import ethernet, mac

_BRIDGES, _NEIGHBOURS = "01:80:c2:00:00:00", "01:80:c2:00:00:0e"


def bpdu(bridge: Box = SWITCH, *, changed: bool = False, vlan: int | None = None) -> bytes:
    """A configuration BPDU of a root bridge behind its LLC header; ``changed`` = the topology-change flag."""
    own = pack(">H", 32_768) + mac(bridge.mac)
    body = pack(">HBBB", 0, 0, 0, int(changed)) + own + pack(">I", 0) + own + pack(">H", 0x8001)
    body += pack("<HHHH", 0, 20, 2, 15)
    llc = b"\x42\x42\x03" + body
    return ethernet(bridge.mac, _BRIDGES, len(llc), llc, vlan)


def lldp(switch: Box = SWITCH, *, vlan: int | None = None, sleeps: bool = False) -> bytes:
    """Chassis, port, TTL; the port's VLAN (802.1Q annex D), Energy Efficient Ethernet (802.3 79.3.5)."""
    unit = b"\x02\x07\x04" + mac(switch.mac) + b"\x04\x03\x07g1" + b"\x06\x02\x00\x78"
    unit += b"" if vlan is None else b"\xfe\x06\x00\x80\xc2\x01" + pack(">H", vlan)
    unit += b"\xfe\x0e\x00\x12\x0f\x05" + pack(">HHHHH", 17, 17, 17, 17, 17) if sleeps else b""
    return ethernet(switch.mac, _NEIGHBOURS, 0x88CC, unit + b"\x00\x00")
