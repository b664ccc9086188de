"""DHCP and BOOTP messages (RFC 2131 section 2, options of RFC 2132, option 82 of RFC 3046)."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import lru_cache
from struct import Struct
from typing import Any

from netwatch.decode.reader import CUT, Head, Reader, Unreadable
from netwatch.decode.tables import Dhcp
from netwatch.decode.text import address_text, clean, mac_text

# op htype hlen hops, xid, secs flags, ciaddr yiaddr siaddr giaddr, chaddr of 16 octets, sname, file (RFC 2131 figure 1)
_FIXED = Struct(">BxBxIHHIIII6s10x64x128x")
_BOOT = slice(44, 236)
"""sname and file."""
_AREAS = 256
"""Lists of options that are kept at hand: a box asks again and again in the same words."""
_COOKIE = bytes((99, 130, 83, 99))
_PAD, _OVERLOAD, _MESSAGE, _END = 0, 52, 53, 255
_BROADCAST = 0x8000


def read(reader: Reader, head: Head) -> Dhcp:
    """One message; raises Unreadable where it ends before its options, or they run past the end without option 53."""
    op, hlen, xid, secs, flags, *addresses, chaddr = reader.fields(_FIXED)
    if op not in (1, 2):
        raise Unreadable(f"operation {op} is neither request nor reply")
    if hlen > 16:
        raise Unreadable(f"hardware address of {hlen} octets")
    message, told = _options(reader.rest(), reader.data[_BOOT], reader.cut) if reader.take(4) == _COOKIE else (0, {})
    ciaddr, yiaddr, siaddr, giaddr = map(address_text, addresses)
    return Dhcp(
        *head, message, op, xid, secs, bool(flags & _BROADCAST), ciaddr, yiaddr, siaddr, giaddr,
        mac_text(int.from_bytes(chaddr, "big")) if hlen == 6 else "", **told,
    )  # fmt: skip


@lru_cache(_AREAS)
def _options(area: bytes, boot: bytes, cut: bool) -> tuple[int, Mapping[str, Any]]:
    """Message type, 0 = none, and fields of ``Dhcp``; an overloaded file and sname field hold more options (RFC 2131 4.1)."""
    found: dict[int, bytes] = {}
    whole = _walk(area, found, cut)
    if not whole and cut:
        raise Unreadable(CUT)  # an option that is missing says something too, so half a list would mislead
    if _OVERLOAD in found:
        overload = found[_OVERLOAD][:1]
        if overload in (b"\1", b"\3"):
            whole &= _walk(boot[64:], found)
        if overload in (b"\2", b"\3"):
            whole &= _walk(boot[:64], found)
    if not whole and not found.get(_MESSAGE):
        raise Unreadable("its options run past the end")
    message = found.get(_MESSAGE, b"")
    if message[:1] == b"\0":
        raise Unreadable("message type 0")
    told = {_FIELDS[code][0]: _FIELDS[code][1](value) for code, value in found.items() if code in _FIELDS}
    return message[0] if message else 0, told


def _walk(area: bytes, found: dict[int, bytes], cut: bool = False) -> bool:
    """Collect the options of one area, repeated ones joined (RFC 2131 4.1); False when its end falls into one."""
    at, end = 0, len(area)
    while at < end:
        code = area[at]
        if code == _END:
            return True
        at += 1
        if code == _PAD:
            continue
        if at == end:
            return False
        begin, at = at + 1, at + 1 + area[at]
        if at > end:
            return False
        found[code] = found[code] + area[begin:at] if code in found else area[begin:at]
    return not cut


def _address(value: bytes) -> str:
    return address_text(int.from_bytes(value[:4], "big")) if len(value) >= 4 else ""


def _addresses(value: bytes) -> tuple[str, ...]:
    return tuple(_address(value[at : at + 4]) for at in range(0, len(value) - 3, 4))


def _seconds(value: bytes) -> int | None:
    return int.from_bytes(value[:4], "big") if len(value) >= 4 else None


_FIELDS: Mapping[int, tuple[str, Callable[[bytes], Any]]] = {
    1: ("mask", _address), 3: ("routers", _addresses), 12: ("host_name", clean), 28: ("broadcast", _address),
    50: ("requested", _address), 51: ("lease", _seconds), 54: ("server", _address), 55: ("parameters", bytes),
    56: ("text", clean), 58: ("t1", _seconds), 59: ("t2", _seconds), 60: ("vendor_class", clean),
    61: ("client_id", bytes), 82: ("relay", bytes),
}
"""Fields of ``Dhcp`` by option, and how its octets are read; what is not there keeps its default."""
