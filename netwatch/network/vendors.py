"""Who made a network card: the public IEEE registry of MAC prefixes, longest prefix (36, 28, 24 bits) first.

``scripts/vendors.py`` makes the list and dates it here.
"""

from __future__ import annotations

import lzma
from functools import cache
from pathlib import Path

LIST_DATE = "2022-08-27"
"""When the registry was fetched, ISO 8601. Prefixes given out later are not known."""

_DIGITS = (9, 7, 6)
"""Hex digits of MA-S and IAB, MA-M, MA-L."""


def vendor(mac: str) -> str:
    """The maker of 'aa:bb:cc:dd:ee:ff'; '' = not in the list, registered privately, made up, or a group address."""
    digits = mac.replace(":", "").lower()
    if len(digits) != 12 or is_group(mac) or is_made_up(mac):
        return ""
    table = _table()
    return next((name for length in _DIGITS if (name := table.get(digits[:length]))), "")


def is_made_up(mac: str) -> bool:
    """Whether a program made the address up (U/L bit, IEEE 802-2014 8.2): no maker, and it may change."""
    return mac[1:2] in tuple("2367abefABEF")


def is_group(mac: str) -> bool:
    """Whether it is a group address (I/G bit, IEEE 802-2014 8.2): multicast or broadcast, nobody's card."""
    return mac[1:2] in tuple("13579bdfBDF")


@cache
def _table() -> dict[str, str]:
    """Lower-case hex prefix to name; read once, at first use."""
    text = lzma.decompress(Path(__file__).with_name("vendors.xz").read_bytes()).decode()
    return dict(line.split(" ", 1) for line in text.split("\n"))
