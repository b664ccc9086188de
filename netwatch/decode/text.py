"""Names from packets and journals made safe to show, and addresses as text. The one place where a stranger's text is cleaned."""

from __future__ import annotations

import re
from functools import lru_cache

from netwatch.words.hidden import HIDDEN

MOST = 255
"""Characters of one name; no field that we show is longer in one piece (DHCP option, LLDP TLV)."""
_TEXTS = 8_192
"""Texts of addresses that are kept at hand: as many boxes as a large network has."""

_HIDDEN = re.compile(f"[{HIDDEN}]")


def clean(value: bytes | str, most: int = MOST) -> str:
    """Text to the first NUL, UTF-8 with replacement, hidden characters as escapes ('\\x1b'), at most ``most`` long."""
    text = value if isinstance(value, str) else value.partition(b"\0")[0].decode("utf-8", "replace")
    text = text.partition("\0")[0].rstrip(" ")[: most + 1]
    text = visible(text)
    return text if len(text) <= most else text[: most - 1] + "…"


def visible(text: str) -> str:
    """The same text, hidden characters as escapes."""
    return text if text.isascii() and text.isprintable() else _HIDDEN.sub(_escape, text)


def _escape(match: re.Match[str]) -> str:
    code = ord(match.group())
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


@lru_cache(_TEXTS)
def mac_text(value: int) -> str:
    """A 48-bit MAC as 'aa:bb:cc:dd:ee:ff'; '' for 0 = none known."""
    return (value & 0xFFFFFFFFFFFF).to_bytes(6, "big").hex(":") if value else ""


@lru_cache(_TEXTS)
def mac_number(text: str) -> int:
    """The MAC of such a text."""
    return int(text.replace(":", "") or "0", 16)


@lru_cache(_TEXTS)
def address_text(value: int) -> str:
    """A 32-bit IPv4 address as '10.0.0.5'; '' for 0 = none."""
    return f"{value >> 24 & 255}.{value >> 16 & 255}.{value >> 8 & 255}.{value & 255}" if value else ""
