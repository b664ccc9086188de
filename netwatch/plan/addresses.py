"""Addresses and masks as people write them, read strictly: nothing is guessed, but what was meant is proposed."""

from __future__ import annotations

from ipaddress import IPv4Address, IPv4Interface, IPv4Network

from netwatch.network import masks

_DIGITS = 24
"""Longer words are cut before they are shown."""
_BLOCKS = (
    ("0.0.0.0/8", "stands for 'no address yet' (0.x.x.x)"),
    ("127.0.0.0/8", "never leaves a computer (127.x.x.x)"),
    ("224.0.0.0/4", "is a multicast group"),
    ("240.0.0.0/4", "is reserved (240.x.x.x and above)"),
)
"""RFC 6890: no box on a wire has these."""


class BadAddress(ValueError):
    """What is wrong and what was perhaps meant: one sentence without its full stop."""


def address(text: str) -> IPv4Address:
    """'10.0.0.5'. Raises ``BadAddress``."""
    word = text.strip()
    if "/" in word:
        raise BadAddress(f"{shown(word)} holds a mask too; write {word.partition('/')[0]} alone here")
    parts = word.split(".")
    if len(parts) != 4 or not all(part.isascii() and part.isdigit() for part in parts):
        raise BadAddress(f"{shown(word)} is no address; write four numbers with dots between them, as 10.0.0.5")
    large = next((part for part in parts if int(part[-9:]) > 255), None)
    if large is not None:
        raise BadAddress(f"{shown(word)} is no address: {large[:9]} is above 255")
    if any(len(part) > 1 and part[0] == "0" for part in parts):
        plain = ".".join(str(int(part)) for part in parts)
        raise BadAddress(f"{shown(word)} has zeros in front, which some systems read as {_octal(parts, plain)}; write {plain}")
    return IPv4Address(word)


def _octal(parts: list[str], plain: str) -> str:
    """How systems read it that take a zero in front for base 8 (inet_aton in POSIX.1)."""
    try:
        read = ".".join(str(int(part, 8) if part[0] == "0" else int(part)) for part in parts)
    except ValueError:
        return "another number"
    return read if read != plain else "base 8"


def host(text: str) -> IPv4Address:
    """An address that a box can have, as far as can be told without its mask. Raises ``BadAddress``."""
    found = address(text)
    for block, why in _BLOCKS:
        if found in IPv4Network(block):
            raise BadAddress(f"{found} {why}, so no box can have it; write the box's own address, as 10.0.0.5")
    return found


def prefix(text: str) -> int:
    """'24' or '255.255.255.0' as a length of 1 to 32. Raises ``BadAddress``."""
    word = text.strip()
    if word.isascii() and word.isdigit():
        if not 1 <= int(word[:9]) <= 32:
            raise BadAddress(f"a mask of /{word[:9]} does not exist; write /1 to /32, as /24 for 255.255.255.0")
        return int(word)
    mask = address(word)
    length = masks.prefix_of(str(mask))
    if length:
        return length
    turned = masks.prefix_of(str(IPv4Address(int(mask) ^ masks.WHOLE)))
    if turned:
        raise BadAddress(f"{mask} is a mask turned around; write {IPv4Network((0, turned)).netmask}")
    raise BadAddress(f"{mask} is no mask: from left to right it must be ones and then zeros only, as 255.255.255.0")


def interface(text: str) -> IPv4Interface:
    """'10.0.0.5/24' or '10.0.0.5/255.255.255.0'. Raises ``BadAddress``."""
    first, slash, last = text.strip().partition("/")
    found = host(first)
    if not slash or not last.strip():
        raise BadAddress(f"{found} lacks its mask; write {found}/24 or {found}/255.255.255.0")
    return IPv4Interface((found, prefix(last)))


def network(text: str) -> IPv4Network:
    """'10.0.0.0/16' or '10.0.0.0/255.255.0.0'. Raises ``BadAddress``."""
    first, slash, last = text.strip().partition("/")
    begin = address(first)
    if not slash or not last.strip():
        raise BadAddress(f"{begin} lacks its mask; write {begin}/24 or {begin}/255.255.255.0")
    found = IPv4Network((begin, prefix(last)), strict=False)
    if found.network_address != begin:
        raise BadAddress(f"{text.strip()} is one address in a subnet; the subnet is {found}")
    return found


def shown(word: str) -> str:
    """What a person wrote, short and in quotes."""
    return repr(word if len(word) <= _DIGITS else word[: _DIGITS - 3] + "...")
