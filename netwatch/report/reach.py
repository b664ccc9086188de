"""The answer to 'can these two talk?' as text, with the bits."""

from __future__ import annotations

from ipaddress import IPv4Address, IPv4Interface

from netwatch.network import masks
from netwatch.plan.reach import NO, Direction, Reach, broadcast
from netwatch.words import reach as words
from netwatch.words.phrases import mask

from .layout import Line, hang, painted, wrap

INDENT = 4
ADDRESS = 21
LABEL = 22
STATE = 9


def render(found: Reach, *, colour: bool = False, width: int = 80) -> str:
    """Lines of at most ``width`` cells (60 at least)."""
    width = max(width, 60)
    a, b = found.a, found.b
    lines = [*_box("A", a, width), *_box("B", b, width), Line("")]
    lines += _bits("A", "B", a, b.ip, found.there.local, width) + _bits("B", "A", b, a.ip, found.back.local, width)
    lines += _ways("A", "B", a, b, found.there, width) + _ways("B", "A", b, a, found.back, width)
    pairs = [[there.state, back.state] for there, back in zip(found.there.ways, found.back.ways, strict=True)]
    lines += [Line(text, "head") for text in wrap(words.verdict(found.whole, *pairs), width)]
    if not found.whole:
        shown = None if found.common is None else mask(found.common)
        same = a.network.prefixlen == b.network.prefixlen
        lines += [Line(text) for text in wrap(words.advice(same, a.ip == b.ip, shown), width)]
    return painted([*lines, *(Line(text) for text in wrap(words.HOLDS, width))], colour)


def _box(name: str, box: IPv4Interface, width: int) -> list[Line]:
    role = masks.role(int(box.ip), box.network.prefixlen)
    text = f"mask {mask(box.network.prefixlen)}, network {box.network[0]} to {box.network[-1]}"
    text += "" if role == "host" else f". {words.ROLE[role]}"
    return [Line(each) for each in hang(f"{name:{INDENT}}{box.ip}", text, width, ADDRESS)]


def _bits(one: str, other: str, box: IPv4Interface, to: IPv4Address, near: bool, width: int) -> list[Line]:
    """Both addresses in bits under the first one's mask, what differs in the network part marked."""
    prefix = box.network.prefixlen
    differ = (int(box.ip) ^ int(to)) & (masks.WHOLE << (32 - prefix)) & masks.WHOLE
    marks = bits(differ, prefix).translate(str.maketrans("01.|", " ^  "))
    said = (words.EQUAL if near else words.DIFFERENT).format(a=one, b=other)
    rows = [f"{name:{INDENT}}{each}".ljust(ADDRESS) + bits(int(each), prefix) for name, each in ((one, box.ip), (other, to))]
    texts = [*wrap(words.LOOKS.format(a=one, b=other), width), *rows]
    texts += [(" " * ADDRESS + marks).rstrip()] if differ else []
    return [Line(text) for text in [*texts, *hang("", said, width, INDENT), ""]]


def bits(value: int, prefix: int) -> str:
    """'00001010.00000000.00000001|00000101': 32 bits, a bar where a mask of ``prefix`` ends."""
    text = ""
    for place in range(32):
        if place:
            text += "|" if place == prefix else "." if place % 8 == 0 else ""
        text += str(value >> (31 - place) & 1)
    return text


def _ways(one: str, other: str, sender: IPv4Interface, receiver: IPv4Interface, found: Direction, width: int) -> list[Line]:
    said = {"a": one, "b": other, "broadcast": broadcast(sender), "other": broadcast(receiver) or "no broadcast address"}
    lines = [Line(f"FROM {one} TO {other}", "head")]
    for way in found.ways:
        why = words.WHY[way.why].format(**said)
        label = f"{words.WAYS[way.how]:{LABEL}} {way.state:{STATE}}"
        lines += [Line(text, "quality" if way.state == NO else "") for text in hang(label, why, width, LABEL + STATE + 2)]
    return [*lines, Line("")]
