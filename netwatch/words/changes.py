"""What changed on the network, in words.

Facts: who, mac, ours, address, before, other, universes, protocol, groups, interface, link.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from .phrases import Facts, count, listing, name, plain, seconds, universes

NS = 1_000_000_000
_LIGHT = "239.255."


def told(what: str, facts: Facts) -> str:
    """One sentence, to stand behind a time: without a capital and a full stop."""
    sentence = CHANGES.get(what)
    return sentence(facts) if sentence is not None else plain(what).replace("-", " ")


def when(at: int, since: int) -> str:
    """A change's time (ns) beside the alert's: '4 s before', 'at the same time', '1 s after'."""
    away = (since - at) / NS
    if abs(away) < 0.25:
        return "at the same time"
    return f"{seconds(abs(away))} {'before' if away > 0 else 'after'}"


def _who(facts: Facts) -> str:
    return "this laptop" if facts.get("ours") else name(facts.get("who") or facts.get("mac") or facts.get("address"), "a box")


def _who_and_mac(facts: Facts) -> str:
    mac = facts.get("mac")
    return f"{_who(facts)} ({mac})" if mac and mac != _who(facts) else _who(facts)


def _other(facts: Facts) -> str:
    return name(facts.get("other") or facts.get("before"), "another box")


def _known(facts: Facts, which: str) -> str:
    return plain(facts.get(which) or "not known")


def _light(facts: Facts) -> str:
    return universes(facts.get("universes"), facts.get("protocol"), 3) or "light"


def _groups(facts: Facts) -> str:
    groups = [str(each) for each in facts.get("groups") or ()]
    numbers = [[int(part) for part in each.split(".")[2:]] for each in groups if each.startswith(_LIGHT) and _dotted(each)]
    of_light = [high << 8 | low for high, low in numbers]
    others = [plain(each) for each in groups if not (each.startswith(_LIGHT) and _dotted(each))]
    return listing([each for each in (universes(of_light, None, 3), listing(others)) if each], 2) or "a group"


def _dotted(text: str) -> bool:
    parts = text.split(".")
    return len(parts) == 4 and all(part.isascii() and part.isdigit() and int(part) < 256 for part in parts)


CHANGES: Mapping[str, Callable[[Facts], str]] = {
    "host": lambda facts: f"{_who_and_mac(facts)} was heard for the first time",
    "address": lambda facts: (
        f"{_who_and_mac(facts)} used the address {_known(facts, 'address')}, until then {_known(facts, 'before')}"
    ),
    "taken": lambda facts: f"{_who_and_mac(facts)} used the address {_known(facts, 'address')}, which {_other(facts)} had",
    "server": lambda facts: f"the DHCP server {_known(facts, 'address')} was heard of for the first time",
    "querier": lambda facts: f"{name(facts.get('address'), 'a box')} began to ask who listens to multicast",
    "querier-gone": lambda facts: f"{name(facts.get('address'), 'a box')} asked no more who listens to multicast",
    "left": lambda facts: f"{_who(facts)} no longer asked for {_groups(facts)}",
    "own-join": lambda facts: f"this laptop asked for {_groups(facts)}",
    "source": lambda facts: f"{_who(facts)} began to send {_light(facts)}",
    "source-back": lambda facts: f"{_who(facts)} was heard with {_light(facts)} again, after a silence",
    "link": lambda facts: (
        f"the link of {name(facts.get('interface'), 'a port')} was {_known(facts, 'link')}, until then {_known(facts, 'before')}"
    ),
}
"""By kind of change."""


def left_out(number: int) -> str:
    """Of a longer list."""
    return f"And {count(number, 'more change', 'more changes')} in the two minutes before."
