"""DHCP and BOOTP messages (RFC 2131 section 2, options of RFC 2132, option 82 of RFC 3046)."""

from __future__ import annotations

from struct import Struct

from netwatch.decode.reader import CUT, Head, Reader, Unreadable
from netwatch.decode.tables import Dhcp
from netwatch.decode.text import address_text, clean, mac_text

# op htype hlen hops, xid, secs flags, ciaddr yiaddr siaddr giaddr, chaddr, sname, file (RFC 2131 figure 1)
_FIXED = Struct(">BBBBIHHIIII16s64s128s")
_COOKIE = bytes((99, 130, 83, 99))
_PAD, _OVERLOAD, _MESSAGE, _END = 0, 52, 53, 255
_BROADCAST = 0x8000


def read(reader: Reader, head: Head) -> Dhcp:
    """One message; raises Unreadable where it ends before its options, or they run past the end without option 53."""
    (op, _, hlen, _, xid, secs, flags, ciaddr, yiaddr, siaddr, giaddr, chaddr, sname, file) = reader.fields(_FIXED)
    if op not in (1, 2):
        raise Unreadable(f"operation {op} is neither request nor reply")
    if hlen > 16:
        raise Unreadable(f"hardware address of {hlen} octets")
    found = _options(reader, sname, file) if reader.take(4) == _COOKIE else {}
    message = found.get(_MESSAGE, b"")
    if message[:1] == b"\0":
        raise Unreadable("message type 0")
    return Dhcp(
        **head,
        message=message[0] if message else 0,
        op=op, xid=xid, secs=secs, broadcast_flag=bool(flags & _BROADCAST),
        ciaddr=address_text(ciaddr), yiaddr=address_text(yiaddr),
        siaddr=address_text(siaddr), giaddr=address_text(giaddr),
        chaddr=mac_text(int.from_bytes(chaddr[:6], "big")) if hlen == 6 else "",
        mask=_address(found.get(1)), routers=_addresses(found.get(3)), host_name=clean(found.get(12, b"")),
        broadcast=_address(found.get(28)), requested=_address(found.get(50)), lease=_seconds(found.get(51)),
        server=_address(found.get(54)), parameters=found.get(55, b""), text=clean(found.get(56, b"")),
        t1=_seconds(found.get(58)), t2=_seconds(found.get(59)), vendor_class=clean(found.get(60, b"")),
        client_id=found.get(61, b""), relay=found.get(82, b""),
    )


def _options(reader: Reader, sname: bytes, file: bytes) -> dict[int, bytes]:
    """All options by code, those of an overloaded file and sname field behind the others (RFC 2131 4.1)."""
    found: dict[int, bytes] = {}
    whole = _walk(reader.take(reader.left), found, reader.cut)
    if not whole and reader.cut:
        raise Unreadable(CUT)  # an option that is missing says something too, so half a list would mislead
    overload = found.get(_OVERLOAD, b"\0")[:1]
    if overload in (b"\1", b"\3"):
        whole &= _walk(file, found)
    if overload in (b"\2", b"\3"):
        whole &= _walk(sname, found)
    if not whole and not found.get(_MESSAGE):
        raise Unreadable("its options run past the end")
    return found


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
        if at == end or at + 1 + area[at] > end:
            return False
        value = area[at + 1 : at + 1 + area[at]]
        found[code] = found[code] + value if code in found else value
        at += 1 + len(value)
    return not cut


def _address(value: bytes | None) -> str:
    return address_text(int.from_bytes(value[:4], "big")) if value and len(value) >= 4 else ""


def _addresses(value: bytes | None) -> tuple[str, ...]:
    return tuple(_address(value[at : at + 4]) for at in range(0, len(value) - 3, 4)) if value else ()


def _seconds(value: bytes | None) -> int | None:
    return int.from_bytes(value[:4], "big") if value and len(value) >= 4 else None
