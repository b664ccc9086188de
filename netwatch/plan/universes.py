"""Universes as people write them, and how E1.31 and Art-Net number them. Strict: what was meant is proposed, never guessed."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from ipaddress import IPv4Address
from itertools import groupby
from typing import Final

from netwatch.plan.addresses import shown

E131: Final = "e131"
ARTNET: Final = "artnet"
RANGES = {E131: (1, 63_999), ARTNET: (0, 32_767)}
"""First and last number: E1.31-2018 6.2.7 and 9.1.1; Art-Net 4: a Port-Address of 15 bits."""
NAMES = {E131: "sACN", ARTNET: "Art-Net"}
HOW = "write 1-8 for sACN, 0.1.5 for Art-Net"
_PROTOCOLS = {
    "sacn": E131, "e131": E131, "e1.31": E131, "streamingacn": E131, "acn": E131, "artnet": ARTNET, "artnet3": ARTNET,
    "artnet4": ARTNET, "both": "", "": "", "sacnartnet": "", "artnetsacn": "",
}  # fmt: skip
_THREE = re.compile(r"([0-9]{1,3})\.([0-9]{1,3})\.([0-9]{1,3})")
_MEANT = (
    (re.compile(r"([0-9]{1,3})[:/]([0-9]{1,3})[:/]([0-9]{1,3})"), "write {0}.{1}.{2} for Art-Net"),
    (re.compile(r"(?:u|un|uni|univ|universe)[ .#]*([0-9]+)", re.IGNORECASE), "write {0}"),
    (re.compile(r"([0-9]+)\.([0-9]+)"), "write {0} for sACN universe {0}, or three numbers for Art-Net, as 0.{0}.{1}"),
)
"""How universes are written elsewhere, and how they are written here."""


class BadUniverse(ValueError):
    """What is wrong and what was perhaps meant: one sentence without its full stop."""


@dataclass(frozen=True, slots=True, order=True)
class Light:
    """One universe: protocol 'e131' or 'artnet', and its number (of Art-Net the flat one, the Port-Address)."""

    protocol: str
    number: int


def protocol(text: str) -> str:
    """'e131', 'artnet', or '' where it is both or not said. Raises ``BadUniverse``."""
    word = re.sub(r"[\s\-+&,/()]|and", "", text.lower())
    found = _PROTOCOLS.get(word)
    if found is None:
        raise BadUniverse(f"{shown(text.strip())} is no protocol that is known here; write sACN or Art-Net")
    return found


def lights(text: str | int, spoken: str = "") -> tuple[Light, ...]:
    """'1-8, 12', '0.0.0-0.1.7', 'a21', in order; plain numbers are of the protocol ``spoken``, sACN without. Raises."""
    line = re.sub(r"\s*(?:[-\u2010-\u2015\u2212]|\bto\b)\s*", "-", str(text).strip())
    found: dict[Light, None] = {}
    for part in re.split(r"[,;+&\s]+", line):
        if part:
            found |= dict.fromkeys(_part(part, spoken))
    return tuple(found)


def one(text: str | int, spoken: str = "") -> Light:
    """A single universe. Raises ``BadUniverse``."""
    found = lights(text, spoken)
    if len(found) != 1:
        raise BadUniverse(f"{shown(str(text))} is not one universe; {HOW}")
    return found[0]


def _part(part: str, spoken: str) -> Iterable[Light]:
    begin, dash, end = part.partition("-")
    first = _number(begin, part, spoken)
    if not dash:
        return (first,)
    last = _number(end, part, spoken)
    if first.protocol != last.protocol:
        raise BadUniverse(f"{shown(part)} begins in {NAMES[first.protocol]} and ends in {NAMES[last.protocol]}; {HOW}")
    if last < first:
        raise BadUniverse(f"{shown(part)} runs backwards; write {end}-{begin}")
    return (Light(first.protocol, number) for number in range(first.number, last.number + 1))


def _number(word: str, part: str, spoken: str) -> Light:
    """One number in any of its forms."""
    if re.fullmatch(r"[0-9]{1,9}", word):
        return _within(Light(spoken or E131, int(word)), word)
    three = _THREE.fullmatch(word)
    if three:
        found = from_three(int(three[1]), int(three[2]), int(three[3]), word)
    elif re.fullmatch(r"[aA][0-9]{1,9}", word):
        found = _within(Light(ARTNET, int(word[1:])), word)
    else:
        raise BadUniverse(f"{shown(part)} names no universe; {_meant(word)}")
    if spoken == E131:
        raise BadUniverse(f"{shown(word)} is how Art-Net counts, but the protocol is sACN; write its number from 1 on")
    return found


def _within(found: Light, word: str) -> Light:
    least, most = RANGES[found.protocol]
    if not least <= found.number <= most:
        name = NAMES[found.protocol]
        more = "; if Art-Net is meant, write 0.0.0" if found == Light(E131, 0) else ""
        raise BadUniverse(f"there is no {name} universe {word[:9].lstrip('aA')}: they are {least} to {most:,}{more}")
    return found


def _meant(word: str) -> str:
    for pattern, proposal in _MEANT:
        match = pattern.fullmatch(word)
        if match:
            return proposal.format(*match.groups())
    return HOW


def from_three(net: int, sub: int, number: int, word: str = "") -> Light:
    """The Art-Net universe of net, sub-net and universe (7, 4 and 4 bits). Raises ``BadUniverse``."""
    if net > 127 or sub > 15 or number > 15:
        text = shown(word or f"{net}.{sub}.{number}")
        raise BadUniverse(f"there is no Art-Net universe {text}: net is 0 to 127, sub-net and universe are 0 to 15")
    return Light(ARTNET, net << 8 | sub << 4 | number)


def three(light: Light) -> str:
    """'0.1.5'."""
    return f"{light.number >> 8}.{light.number >> 4 & 15}.{light.number & 15}"


def written(found: Iterable[Light]) -> list[str]:
    """As ``lights`` reads it, whatever the protocol: ['1-8', '0.0.0-0.1.7']."""
    out = []
    for _, run in groupby(enumerate(sorted(set(found), key=_order)), lambda pair: (pair[1].protocol, pair[1].number - pair[0])):
        ends = [light for _, light in run]
        first, last = (three(each) if each.protocol == ARTNET else str(each.number) for each in (ends[0], ends[-1]))
        out.append(first if len(ends) == 1 else f"{first}-{last}")
    return out


def _order(light: Light) -> tuple[bool, int]:
    return light.protocol == ARTNET, light.number


def group(universe: int) -> str:
    """Multicast address of an sACN universe (E1.31-2018 9.3.1)."""
    return f"239.255.{universe >> 8}.{universe & 0xFF}"


def group_mac(address: str) -> str:
    """The MAC that a multicast address is sent to: 01:00:5e and its low 23 bits (RFC 1112 6.4)."""
    return (0x01005E000000 | int(IPv4Address(address)) & 0x7FFFFF).to_bytes(6).hex(":")
