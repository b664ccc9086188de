"""What the words of one alert are made of."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

from .phrases import Facts, name, universes, with_mask

Clock: TypeAlias = Callable[[int], str]
"""Shows a moment (ns since 1970) in the reader's own time."""
Step: TypeAlias = tuple[str, str]
"""(what to do, what it disturbs)."""


class AfterShow(tuple[str, str]):
    """A step that waits until after the show: it restarts or moves something, or changes an address, mask or patch."""

    __slots__ = ()


def after_show(what: str, disturbs: str) -> AfterShow:
    """A step that waits until after the show."""
    return AfterShow((what, disturbs))


NOTHING = "nothing"
CAUTION = "fixtures may move, strobes and lamps restart: clear the area, tell whoever calls the show"
"""Stands in every step after which light can come back by itself."""


@dataclass(frozen=True, slots=True)
class Words:
    """All that is ever said about one code. Steps may hold {light}, {goes_dark}, {who}, {address}, {proposed} and {period}."""

    title: Callable[[Facts], str]
    """Under 20 words, whatever facts are missing."""
    why: str
    """Why it matters on a show."""
    steps: tuple[Step, ...]
    """In order, gentlest first."""
    mistaken: tuple[str, ...]
    """What else could explain it."""
    seen: Callable[[Facts, Clock], tuple[str, ...]]
    """What was seen, with numbers: whole sentences."""
    sure: Mapping[str, str]
    """What stands behind each certainty that it can have."""
    how: str
    """How it is detected."""
    where: str
    """From where it can be seen."""
    systems: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """What to click or type, by system: 'Linux', 'macOS', 'Windows'; of alerts about the laptop."""
    doubt: Callable[[Facts], str] | None = None
    """What it is in a few words, for the trust line; of alerts about the laptop. None = its title."""


IN_TITLE, IN_FULL = 3, 12
"""Ranges of universes that are written out."""


def light(facts: Facts, most: int = IN_TITLE) -> str:
    """The universes of an alert: 'universe 7', 'universes 1-24', '' where none is named."""
    found = facts.get("universes")
    if not found and facts.get("universe") is not None:
        found = [facts["universe"]]
    return universes(found, facts.get("protocol"), most)


def sacn(facts: Facts, most: int = IN_TITLE) -> str:
    """The same where only sACN can be meant, as it alone goes by multicast."""
    return light({**facts, "protocol": None}, most)


def filled(step: Step, facts: Facts) -> Step:
    """The step with the alert's own universes, names and addresses in it."""
    of_light = light(facts)
    several = len(facts.get("universes") or ()) > 1
    after, proposed = facts.get("after_s"), facts.get("proposed")
    parts = {
        "light": of_light or "the universe",
        "goes_dark": f"{of_light or 'the universe'} {'go' if several else 'goes'} dark",
        "who": name(facts.get("who"), "the device"),
        "address": name(facts.get("address"), "the address"),
        "proposed": f"such as {with_mask(str(proposed))}" if proposed else "from the plan",
        "period": f"about {after:.0f} s" if after is not None else "a few minutes",
    }
    done = step[0].format_map(parts), step[1].format_map(parts)
    return AfterShow(done) if isinstance(step, AfterShow) else done


def said(*sentences: str | None) -> tuple[str, ...]:
    """The sentences that have something to say."""
    return tuple(s for s in sentences if s)
