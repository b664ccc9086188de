"""LLDP data units (IEEE 802.1AB clause 8; the port VLAN of IEEE 802.1Q annex D; both from memory)."""

from __future__ import annotations

from ipaddress import IPv6Address

from netwatch.decode.reader import Head, Reader, Unreadable
from netwatch.decode.tables import Lldp
from netwatch.decode.text import address_text, clean, mac_text

_END, _CHASSIS, _PORT, _TTL, _PORT_TEXT, _SYSTEM_NAME, _OWN = 0, 1, 2, 3, 4, 5, 127
_CHASSIS_MAC, _CHASSIS_ADDRESS = 4, 5
_PORT_MAC, _PORT_ADDRESS = 3, 4
_PORT_VLAN = b"\x00\x80\xc2\x01"
_SAVES_POWER = b"\x00\x12\x0f\x05"
"""Energy Efficient Ethernet (IEEE 802.3 79.3.5, from memory)."""


def read(reader: Reader, head: Head) -> Lldp:
    """One data unit: chassis, port and TTL in this order, then what else it says. Raises Unreadable."""
    chassis = _identity(_mandatory(reader, _CHASSIS), _CHASSIS_MAC, _CHASSIS_ADDRESS)
    port_id = _identity(_mandatory(reader, _PORT), _PORT_MAC, _PORT_ADDRESS)
    ttl = _mandatory(reader, _TTL).u16()
    port_text = system_name = ""
    vlan, saves_power = None, False
    while reader.left >= 2:
        type_, value = _next(reader)
        if type_ == _END or value is None:
            break
        if type_ == _PORT_TEXT:
            port_text = clean(value)
        elif type_ == _SYSTEM_NAME:
            system_name = clean(value)
        elif type_ == _OWN and value[:4] == _PORT_VLAN and len(value) == 6:
            vlan = int.from_bytes(value[4:], "big") or None
        elif type_ == _OWN and value[:4] == _SAVES_POWER:
            saves_power = True
    return Lldp(
        *head, chassis=chassis, port_id=port_id, ttl=ttl, port_text=port_text, system_name=system_name, vlan=vlan,
        saves_power=saves_power,
    )  # fmt: skip


def _next(reader: Reader) -> tuple[int, bytes | None]:
    """Type and value of the next TLV: 7 bits and 9 bits of length; None where the capture ends inside it."""
    word = reader.u16()
    size = word & 0x1FF
    if size > reader.left and reader.cut:
        return word >> 9, None
    return word >> 9, reader.take(size)


def _mandatory(reader: Reader, type_: int) -> Reader:
    """The value of the next TLV, which must be of this type."""
    word = reader.u16()
    if word >> 9 != type_:
        raise Unreadable(f"TLV {word >> 9} stands where {type_} must")
    return reader.restrict(word & 0x1FF)


def _identity(value: Reader, mac: int, address: int) -> str:
    """A chassis or port id behind its subtype as text; ``mac`` and ``address`` are the subtypes of these."""
    subtype, content = value.u8(), value.rest()
    if not content:
        raise Unreadable("an id without content")
    if subtype == mac and len(content) == 6:
        return mac_text(int.from_bytes(content, "big"))
    if subtype == address and content[0] == 1 and len(content) == 5:
        return address_text(int.from_bytes(content[1:], "big"))
    if subtype == address and content[0] == 2 and len(content) == 17:
        return str(IPv6Address(content[1:]))
    return clean(content)
