"""DHCP and BOOTP messages (RFC 2131 section 2, options of RFC 2132, option 82 of RFC 3046)."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import lru_cache
from struct import Struct
from typing import Any, TypeAlias

from netwatch.decode.reader import CUT, Head, Reader, Unreadable
from netwatch.decode.tables import Dhcp
from netwatch.decode.text import address_text, clean, mac_text

# op htype hlen hops, xid, secs flags, ciaddr yiaddr siaddr giaddr, chaddr of 16 octets, sname, file (RFC 2131 figure 1)
_FIXED = Struct(">BxBxIHHIIIIHI10x64x128x")
_BOOT = slice(44, 236)
"""sname and file."""
_AREAS = 256
"""Lists of options that are kept at hand: a box asks again and again in the same words."""
_COOKIE = bytes((99, 130, 83, 99))
_PAD, _OVERLOAD, _MESSAGE, _END = 0, 52, 53, 255
_BROADCAST = 0x8000
Options: TypeAlias = tuple[int, tuple[Any, ...]]
"""Message type, 0 = none, and the last fields of ``Dhcp``, in their order."""


def read(reader: Reader, head: Head) -> Dhcp:
    """One message; raises Unreadable where it ends before its options, or they run past the end without option 53."""
    op, hlen, xid, secs, flags, ciaddr, yiaddr, siaddr, giaddr, high, low = reader.fields(_FIXED)
    if op not in (1, 2):
        raise Unreadable(f"operation {op} is neither request nor reply")
    if hlen > 16:
        raise Unreadable(f"hardware address of {hlen} octets")
    data, cut = reader.data, reader.cut
    if data[236:240] == _COOKIE:
        area = data[240:]
        message, told = _options(area, cut) or _all_options(area, data[_BOOT], cut)
    else:
        reader.skip(4)
        message, told = _meant({}, True)
    return Dhcp(
        *head, message, op, xid, secs, flags & _BROADCAST > 0,
        address_text(ciaddr) if ciaddr else "", address_text(yiaddr) if yiaddr else "",
        address_text(siaddr) if siaddr else "", address_text(giaddr) if giaddr else "",
        mac_text(high << 32 | low) if hlen == 6 else "", *told,
    )  # fmt: skip


@lru_cache(_AREAS)
def _options(area: bytes, cut: bool) -> Options | None:
    """None where other fields hold more of them."""
    found, whole = _listed(area, cut)
    return None if _OVERLOAD in found else _meant(found, whole)


def _all_options(area: bytes, boot: bytes, cut: bool) -> Options:
    """An overloaded file and sname field hold more options (RFC 2131 4.1)."""
    found, whole = _listed(area, cut)
    overload = found[_OVERLOAD][:1]
    if overload in (b"\1", b"\3"):
        whole &= _walk(boot[64:], found)
    if overload in (b"\2", b"\3"):
        whole &= _walk(boot[:64], found)
    return _meant(found, whole)


def _listed(area: bytes, cut: bool) -> tuple[dict[int, bytes], bool]:
    """Options by code, and whether their list ends as it should."""
    found: dict[int, bytes] = {}
    whole = _walk(area, found, cut)
    if not whole and cut:
        raise Unreadable(CUT)  # an option that is missing says something too, so half a list would mislead
    return found, whole


def _meant(found: dict[int, bytes], whole: bool) -> Options:
    message = found.get(_MESSAGE, b"")
    if not whole and not message:
        raise Unreadable("its options run past the end")
    if message[:1] == b"\0":
        raise Unreadable("message type 0")
    return message[0] if message else 0, tuple([meaning(found.get(code, b"")) for code, meaning in _FIELDS.items()])


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


_FIELDS: Mapping[int, Callable[[bytes], Any]] = {
    1: _address, 3: _addresses, 12: clean, 28: _address, 50: _address, 51: _seconds, 54: _address, 55: bytes, 56: clean,
    58: _seconds, 59: _seconds, 60: clean, 61: bytes, 82: bytes,
}
"""The last fields of ``Dhcp``, in their order: by which option each is told, and how its octets are read; none = its default."""
