"""All words that are shown: alerts by code, severities, certainties, places, checks. Translations replace this package."""

from __future__ import annotations

from collections.abc import Mapping

from .addresses import ADDRESSES
from .artnet import ARTNET
from .base import NOTHING, AfterShow, Clock, Step, Words, filled
from .both import BOTH
from .laptop import LAPTOP
from .leasing import LEASING
from .light import LIGHT
from .links import LINKS
from .multicast import MULTICAST
from .order import ORDER
from .phrases import Facts, number, start
from .queriers import QUERIERS
from .receivers import RECEIVERS
from .shared import CERTAINTY, CHECK, PROTOCOL, SEVERITY, VANTAGE, Place, Shown
from .sources import SOURCES
from .subnets import SUBNETS
from .untold import NO_ALERT, UNTOLD
from .wifi import WIFI

FAMILIES: Mapping[str, Mapping[str, Words]] = {
    "Addresses, and who hands them out": {**ADDRESSES, **LEASING, **SUBNETS},
    "Multicast: whether light goes on arriving": {**MULTICAST, **QUERIERS, **RECEIVERS},
    "Light: who sends it, and how it comes": {**LIGHT, **SOURCES, **ORDER},
    "Art-Net, and both protocols": {**ARTNET, **BOTH},
    "Links: cables, switches and Wi-Fi": {**LINKS, **WIFI},
    "This laptop": LAPTOP,
}
"""The alerts as people look for them."""
WORDS: Mapping[str, Words] = {code: said for family in FAMILIES.values() for code, said in family.items()}
"""By alert code."""


def of(code: str) -> Words:
    """The words of a code; plain stand-ins for one that has none (as in a journal of a newer version)."""
    return WORDS.get(code) or _unworded(code)


def title(code: str, facts: Facts) -> str:
    """One line, under 20 words."""
    if facts.get("more"):
        return f"And {number(facts['more'])} more: {of(code).title({})}"
    return of(code).title(facts)


def doubt(code: str, facts: Facts) -> str:
    """What makes the rest doubtful, in a few words."""
    return (of(code).doubt or of(code).title)(facts)


def steps(code: str, facts: Facts) -> tuple[Step, ...]:
    """(what to do, what it disturbs), with the alert's own universes and names in them."""
    return tuple(filled(step, facts) for step in of(code).steps)


def in_order(steps: tuple[Step, ...], phase: str) -> tuple[Step, ...]:
    """In a show the steps that wait until after it come last."""
    return tuple(sorted(steps, key=waits)) if phase == "show" else steps


def waits(step: Step) -> bool:
    """Does it stand under 'after the show'?"""
    return isinstance(step, AfterShow)


def seen(code: str, facts: Facts, clock: Clock) -> tuple[str, ...]:
    """What was seen, in whole sentences; ``clock`` shows a moment in the reader's time."""
    if facts.get("more"):
        return (f"{number(facts['more'])} more of this kind, told as one so that others find room.",)
    return of(code).seen(facts, clock)


def _unworded(code: str) -> Words:
    return Words(
        title=lambda facts: start(code.replace("-", " ")),
        why="This version has no words for it.",
        steps=(("Look it up in the version that raised it.", NOTHING),),
        mistaken=(),
        seen=lambda facts, clock: (),
        sure={},
        how="Not known to this version.",
        where="Not known to this version.",
    )


__all__ = [
    "CERTAINTY",
    "CHECK",
    "FAMILIES",
    "NOTHING",
    "NO_ALERT",
    "PROTOCOL",
    "SEVERITY",
    "UNTOLD",
    "VANTAGE",
    "WORDS",
    "Clock",
    "Facts",
    "Place",
    "Shown",
    "Step",
    "Words",
    "doubt",
    "in_order",
    "of",
    "seen",
    "steps",
    "title",
    "waits",
]
