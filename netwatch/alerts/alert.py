"""What the engine tells: alerts, events about them, and which packet numbers an alert rests on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, TypeAlias

from netwatch.alerts.rule import CERTAINTIES, SEVERITIES
from netwatch.frozen import record

Key: TypeAlias = tuple[str, int, str]
"""(code, segment, subject): what an alert is about. At most one alert of a key is open."""

AND_MORE = "and-more"
"""Subject of the one alert that stands for all subjects of a code and segment that got no place of their own."""

NEVER = 1 << 63
"""Later than any time."""

What: TypeAlias = Literal["opened", "changed", "folded", "unfolded", "closed", "accepted", "mended"]


@dataclass(frozen=True, slots=True)
class Accepted:
    """'Known, leave it': said at ``at`` (ns; None = not told when), holds before ``until`` (ns; None = for this job)."""

    at: int | None
    until: int | None
    why: str
    worst: str
    """The worst severity that is left be."""
    of: frozenset[str] | None = None
    """All that it is about, as universes or boxes, where more of them is worse (``Rule.worse_with``); None = any."""

    @property
    def ends(self) -> int:
        """When it no longer holds."""
        return NEVER if self.until is None else self.until


@record
class Alert:
    """An alert that was told, as it stands. Times in ns."""

    id: int
    """Order of opening, from 1."""
    code: str
    segment: int
    subject: str
    severity: str
    """The worst since it opened."""
    certainty: str
    """The highest since it opened."""
    since: int
    """When it became true."""
    opened: int
    """End of the tick that told it."""
    last: int
    """Newest time at which it was true."""
    sign: int = 0
    """The newest sign of it (``Finding.sign``); 0 = it is a state, which is its own sign as long as it is true."""
    closed: int | None = None
    """When it became false; None until that is told."""
    times: int = 1
    """How often it became true while this alert was there."""
    again: int | None = None
    """Id of the alert of the same key before this one."""
    accepted: Accepted | None = None
    facts: Mapping[str, Any] = field(default_factory=dict)
    numbers: tuple[int, ...] = ()
    """Rising packet numbers, at most 8."""
    over: int | None = None
    """Id of the cause that it is folded under; that one is never folded itself."""
    under: tuple[int, ...] = ()
    """Ids of the alerts that are folded under this one, rising."""
    flapping: bool = False
    """It comes and goes: open until it was quiet for ten minutes."""

    @property
    def key(self) -> Key:
        """(code, segment, subject)."""
        return self.code, self.segment, self.subject


@record
class Event:
    """Something happened to an alert, told at the tick end ``at``."""

    at: int
    what: What
    alert: int
    """Its id."""


def worse(one: str, other: str) -> str:
    """The worse of two severities."""
    return one if one == other else max(one, other, key=SEVERITIES.index)


def surer(one: str, other: str) -> str:
    """The higher of two certainties."""
    return one if one == other else max(one, other, key=CERTAINTIES.index)


def evidence(first: Sequence[int], opening: Sequence[int], newest: Sequence[int]) -> tuple[int, ...]:
    """At most 8 rising numbers: two first, three newest, and as many of the last ones at opening as there is room for."""
    chosen = dict.fromkeys((*first[:2], *newest[-3:]))
    for n in reversed(opening):
        if len(chosen) == 8:
            break
        chosen[n] = None
    return tuple(sorted(chosen))
