"""Values that a journal may hold: of the words that we know, and times that can be shown. Another program may have written it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from ipaddress import ip_address
from typing import Any

from netwatch import words
from netwatch.packets.batch import LATEST
from netwatch.words.phases import PHASE

_KNOWN: Mapping[tuple[str, str], Mapping[str, object]] = {
    ("AlertView", "severity"): words.SEVERITY, ("AlertView", "certainty"): words.CERTAINTY,
    ("Listening", "vantage"): words.VANTAGE, ("Check", "state"): words.CHECK, ("Snapshot", "phase"): PHASE,
    ("StreamView", "protocol"): words.PROTOCOL, ("WinnerView", "protocol"): words.PROTOCOL,
}  # fmt: skip
_HEX = re.compile(r"(?:[0-9a-f]{2})*").fullmatch
_MAC = re.compile(r"(?:[0-9a-f]{2}(?::[0-9a-f]{2}){5})?").fullmatch
_TIMES = frozenset({
    "again", "at", "by", "closed", "first", "goes_dark_at", "last", "last_change", "last_data", "last_join", "last_report",
    "lease_until", "now", "opened", "quiet", "renews", "since",
})  # fmt: skip
"""Fields that hold ns since 1970; none of these names stands for a number that may be larger or less than 0."""


def wrong(kind: str, name: str, value: object) -> str:
    """What is wrong with a field's value, '' = nothing."""
    known = _KNOWN.get((kind, name))
    if known is not None and value not in known:
        return f"{value!r} is no {name}"
    if (kind, name) == ("AlertView", "bytes") and isinstance(value, Mapping) and not all(map(_HEX, value.values())):
        return "a packet's bytes are none"
    if name == "mac" and isinstance(value, str) and not _MAC(value):
        return f"{value!r} is no MAC"
    if (kind, name) == ("HostView", "addresses") and isinstance(value, tuple) and not all(map(_is_address, value)):
        return "an address is none"
    if (kind, name) == ("AlertView", "accepted") and isinstance(value, Mapping) and not _is_end(value.get("until")):
        return "the end of what is known is none"
    return late(value) if name in _TIMES else ""


def _is_address(text: object) -> bool:
    try:
        ip_address(str(text))
    except ValueError:
        return False
    return True


def _is_end(until: object) -> bool:
    return until is None or (type(until) is int and not late(until))


def untold(code: str, facts: Mapping[str, Any]) -> str:
    """What is wrong with an alert's facts: its own words must be able to tell them."""
    try:
        for tell in (words.title, words.doubt, words.steps):
            tell(code, facts)
        words.seen(code, facts, _moment)
    except (TypeError, ValueError, AttributeError, LookupError, ArithmeticError):
        return f"the facts of {code} are none"
    return ""


def _moment(time: int) -> str:
    """Stands for the clock of words. Raises ``ValueError``."""
    if type(time) is not int or late(time):
        raise ValueError
    return ""


def late(value: object) -> str:
    """What is wrong with a time."""
    return f"{value} is no time" if isinstance(value, int) and not 0 <= value <= LATEST else ""
