"""Small pieces of shown language: names, numbers, times, universes and masks as people read them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any, TypeAlias

from netwatch.words.hidden import HIDDEN

Facts: TypeAlias = Mapping[str, Any]
"""An alert's facts: plain values. Any of them may be missing or None."""

NAME_CHARACTERS = 32
NAME_WORDS = 4
"""A longer name is cut, so that a title stays short whatever a box calls itself."""


_UNSHOWN = re.compile(f"[{HIDDEN}]")


def plain(text: object) -> str:
    """``text`` on one line: white space as single spaces, what can't be shown as '?', so that no name can move a layout."""
    return _UNSHOWN.sub("?", " ".join(str(text).split()))


def name(value: object, otherwise: str) -> str:
    """A box's name, at most ``NAME_CHARACTERS`` long and ``NAME_WORDS`` words; ``otherwise`` where there is none."""
    whole = plain(value) if value is not None else ""
    short = " ".join(whole.split(" ")[:NAME_WORDS])[:NAME_CHARACTERS].rstrip()
    if not short:
        return otherwise
    return short if short == whole else short + "..."


def listing(values: Iterable[str], most: int = 3) -> str:
    """'A', 'A and B', 'A, B and C', 'A, B, C and 12 more'; '' of nothing."""
    items = list(values)
    if len(items) > most:
        return f"{', '.join(items[:most])} and {number(len(items) - most)} more"
    return " and ".join([", ".join(items[:-1]), items[-1]] if len(items) > 1 else items)


def names(values: Iterable[object] | None, most: int = 3) -> str:
    """The names that are there, as in ``listing``."""
    return listing([name(v, "") for v in values or () if v is not None and name(v, "")], most)


def number(value: float) -> str:
    """'1,234'."""
    return f"{round(value):,}"


def count(value: float, one: str, many: str) -> str:
    """'1 channel', '37 channels'."""
    return f"{number(value)} {one if round(value) == 1 else many}"


def seconds(value: float) -> str:
    """'0.4 s', '90 s', '12 min', '2.1 h'."""
    if value < 599.5:
        return _short(max(value, 0)) + " s"
    return f"{value / 60:.0f} min" if value < 7170 else _short(value / 3600) + " h"


def share(value: float) -> str:
    """A share of 0..1 in percent: '1.2 %', '25 %', 'under 0.1 %'."""
    percent = value * 100
    if 0 < percent < 0.1:
        return "under 0.1 %"
    return _short(percent) + " %"


def mbit(value: float) -> str:
    """'9 Mbit/s', '0.4 Mbit/s', 'under 0.1 Mbit/s'."""
    if value < 0.1:
        return "under 0.1 Mbit/s"
    return (f"{value:,.0f}" if value >= 0.95 else f"{value:.1f}") + " Mbit/s"


def size(value: float) -> str:
    """Bytes as '930 bytes', '2.6 MB'."""
    for step, unit in ((1e9, "GB"), (1e6, "MB"), (1e3, "kB")):
        if value >= step:
            return f"{value / step:.1f} {unit}"
    return count(value, "byte", "bytes")


def ranges(values: Iterable[int], most: int = 6) -> str:
    """'1-24, 30'; beyond ``most`` ranges '1, 3, 5 and 40 more' (counted in single values); '' of nothing."""
    spans = _spans(values)
    shown = ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in spans[:most])
    left = sum(b - a + 1 for a, b in spans[most:])
    return f"{shown} and {number(left)} more" if left else shown


def three_numbers(flat: int) -> str:
    """An Art-Net universe (Port-Address, 15 bits) as net.sub-net.universe: 21 is '0.1.5' (Art-Net 4: 7, 4 and 4 bits)."""
    return f"{flat >> 8 & 0x7F}.{flat >> 4 & 0xF}.{flat & 0xF}"


def universe(value: int | None, protocol: str | None = None) -> str:
    """'universe 12', 'Art-Net universe 0.1.5 (21)', 'one universe' where it isn't known."""
    return universes([] if value is None else [value], protocol) or "one universe"


def universes(values: Iterable[int] | None, protocol: str | None = None, most: int = 6) -> str:
    """'universe 7', 'universes 1-24, 30', 'Art-Net universes 0.0.0-0.1.7 (0-23)'; '' of nothing. At most ``most`` ranges."""
    found = sorted({v for v in values or () if v is not None})
    if not found:
        return ""
    word = "universe" if len(found) == 1 else "universes"
    if protocol != "artnet":
        return f"{word} {ranges(found, most)}"
    fewer = max(most - 1, 1)
    return f"Art-Net {word} {three_number_ranges(found, fewer)} ({ranges(found, fewer)})"


def three_number_ranges(values: Iterable[int], most: int) -> str:
    """'0.0.0-0.1.7, 1.0.0': the ranges of ``values``, the rest counted."""
    spans = _spans(values)
    shown = ", ".join(three_numbers(a) if a == b else f"{three_numbers(a)}-{three_numbers(b)}" for a, b in spans[:most])
    left = sum(b - a + 1 for a, b in spans[most:])
    return f"{shown} and {number(left)} more" if left else shown


def mask(prefix: int) -> str:
    """A prefix length of 0..32 as '255.255.255.0 (/24)'."""
    bits = (0xFFFFFFFF << (32 - prefix)) & 0xFFFFFFFF
    return ".".join(str(bits >> shift & 0xFF) for shift in (24, 16, 8, 0)) + f" (/{prefix})"


def with_mask(network: str) -> str:
    """'10.0.0.5/16' as '10.0.0.5, mask 255.255.0.0 (/16)'; anything else as it stands."""
    address, slash, prefix = plain(network).partition("/")
    if slash and prefix.isascii() and prefix.isdigit() and int(prefix) <= 32:
        return f"{address}, mask {mask(int(prefix))}"
    return plain(network)


def start(text: str) -> str:
    """With a capital first letter."""
    return text if text.startswith("sACN") else text[:1].upper() + text[1:]


def _short(value: float) -> str:
    """'0.4', '9.9', '2', '90'."""
    return f"{value:,.0f}" if value >= 9.95 else f"{value:.1f}".removesuffix(".0")


def _spans(values: Iterable[int]) -> list[tuple[int, int]]:
    """Runs of neighbours, rising."""
    spans: list[tuple[int, int]] = []
    for value in sorted(set(values)):
        if spans and value == spans[-1][1] + 1:
            spans[-1] = (spans[-1][0], value)
        else:
            spans.append((value, value))
    return spans
