"""One packet field by field: what it says, in which octets, by which clause. For evidence, so one packet at a time.

Never raises; where the captured bytes end, the list ends. Layouts: IEEE 802.3, RFC 826, RFC 791, RFC 768, RFC 2131 with the
options of RFC 2132, RFC 2236 and RFC 9776, ANSI E1.31-2018 tables 4-1 to 4-3, Art-Net 4 (revision 1.4di).
"""

from __future__ import annotations

from dataclasses import dataclass

from netwatch.decode.text import address_text, clean, mac_text


@dataclass(frozen=True, slots=True)
class Field:
    """``what`` is a key of ``words.spelled``; ``at`` counts octets from the start of the packet."""

    what: str
    value: str | int
    at: int
    octets: bytes


class _Packet:
    """Bytes with a place from which a layer counts; a field that is not whole is left out, and all behind it."""

    def __init__(self, data: bytes, base: int = 0) -> None:
        self.data, self.base = data, base
        self.fields: list[Field] = []

    def raw(self, at: int, size: int) -> bytes | None:
        begin = self.base + at
        return self.data[begin : begin + size] if begin >= 0 and begin + size <= len(self.data) else None

    def number(self, at: int, size: int, little: bool = False) -> int | None:
        found = self.raw(at, size)
        return None if found is None else int.from_bytes(found, "little" if little else "big")

    def add(self, what: str, at: int, size: int, form: str = "number") -> int | None:
        """Note a field; its number, None where the bytes end before."""
        octets, value = self.raw(at, size), self.number(at, size, form == "little")
        if octets is None or value is None:
            return None
        shown: str | int = value
        if form == "address":
            shown = address_text(value) or "0.0.0.0"
        elif form == "mac":
            shown = mac_text(value) or "00:00:00:00:00:00"
        elif form == "text":
            shown = clean(octets)
        elif form == "hex":
            shown = octets.hex()
        self.fields.append(Field(what, shown, self.base + at, octets))
        return value


def spell(packet: bytes, link_type: int = 1) -> list[Field]:
    """The fields of an Ethernet frame (link type 1) or a raw IP packet (101), outermost first."""
    found = _Packet(packet)
    if link_type == 101:
        _ip(found, 0)
        return found.fields
    found.add("to mac", 0, 6, "mac")
    found.add("from mac", 6, 6, "mac")
    at, kind = 12, found.number(12, 2)
    while kind in (0x8100, 0x88A8):
        tag = found.add("vlan", at + 2, 2)
        if tag is not None:
            found.fields[-1] = Field("vlan", tag & 0xFFF, at + 2, found.fields[-1].octets)
        at, kind = at + 4, found.number(at + 4, 2)
    if kind == 0x0806:
        _arp(found, at + 2)
    elif kind == 0x0800:
        _ip(found, at + 2)
    return found.fields


def _arp(found: _Packet, at: int) -> None:
    found.base = at
    found.add("arp operation", 6, 2)
    found.add("arp sender mac", 8, 6, "mac")
    found.add("arp sender", 14, 4, "address")
    found.add("arp target mac", 18, 6, "mac")
    found.add("arp target", 24, 4, "address")


def _ip(found: _Packet, at: int) -> None:
    found.base = at
    first = found.number(0, 1)
    if first is None or first >> 4 != 4:
        return
    found.add("from address", 12, 4, "address")
    found.add("to address", 16, 4, "address")
    protocol, found.base = found.number(9, 1), at + (first & 15) * 4
    if protocol == 2:
        _igmp(found)
    elif protocol == 17:
        found.add("from port", 0, 2)
        port = found.add("to port", 2, 2)
        ports = {port, found.number(0, 2)}
        found.base += 8
        if 5568 in ports:
            _e131(found)
        elif 6454 in ports:
            _artnet(found)
        elif ports & {67, 68}:
            _dhcp(found)


def _igmp(found: _Packet) -> None:
    kind = found.add("igmp type", 0, 1)
    if kind == 0x22:
        records = found.add("igmp records", 6, 2) or 0
        at = 8
        for _ in range(min(records, 8)):
            found.add("igmp record type", at, 1)
            sources, extra = found.number(at + 2, 2), found.number(at + 1, 1)
            found.add("igmp group", at + 4, 4, "address")
            if sources is None or extra is None:
                return
            at += 8 + 4 * (sources + extra)
        return
    found.add("igmp group", 4, 4, "address")


def _e131(found: _Packet) -> None:
    root, framing = found.number(18, 4), found.number(40, 4)
    found.add("cid", 22, 16, "hex")
    if root == 8 and framing == 1:
        found.add("sync sequence", 44, 1)
        found.add("sync address", 45, 2)
        return
    found.add("source name", 44, 64, "text")
    if root == 8:
        found.add("page", 118, 1)
        found.add("last page", 119, 1)
        for place in range(8):
            if found.add("listed universe", 120 + 2 * place, 2) is None:
                return
        return
    found.add("priority", 108, 1)
    found.add("waits for sync", 109, 2)
    found.add("sequence", 111, 1)
    found.add("options", 112, 1)
    found.add("universe", 113, 2)
    count = found.add("property count", 123, 2)
    found.add("start code", 125, 1)
    if count is not None and count > 1:
        found.add("levels", 126, min(count - 1, 16), "hex")


def _artnet(found: _Packet) -> None:
    found.add("art-net id", 0, 8, "text")
    code = found.add("opcode", 8, 2, "little")
    if code in (0x5000, 0x5100):
        found.add("artnet sequence", 12, 1)
        found.add("physical" if code == 0x5000 else "start code", 13, 1)
        found.add("port-address", 14, 2, "little")
        length = found.add("length", 16, 2)
        if length:
            found.add("levels", 18, min(length, 16), "hex")
    elif code == 0x2100:
        found.add("node address", 10, 4, "address")
        found.add("net switch", 18, 1)
        found.add("sub switch", 19, 1)
        found.add("short name", 26, 18, "text")
        found.add("long name", 44, 64, "text")
        found.add("report", 108, 64, "text")


def _dhcp(found: _Packet) -> None:
    found.add("xid", 4, 4, "hex")
    found.add("client address", 12, 4, "address")
    found.add("your address", 16, 4, "address")
    found.add("relay address", 24, 4, "address")
    found.add("client mac", 28, 6, "mac")
    at, forms = 240, {1: "address", 3: "address", 12: "text", 50: "address", 51: "number", 53: "number", 54: "address"}
    for _ in range(64):
        code, size = found.number(at, 1), found.number(at + 1, 1)
        if code == 0:
            at += 1
            continue
        if code in (None, 255) or size is None:
            return
        if code in forms:
            found.add(f"option {code}", at + 2, min(size, 4) if forms[code] == "address" else size, forms[code])
        at += 2 + size
