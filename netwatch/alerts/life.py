"""One subject of one rule, from the tick end at which it became true until it is forgotten."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum, auto
from typing import Any, TypeAlias

from netwatch.alerts.alert import NEVER, evidence
from netwatch.alerts.rule import CERTAINTIES, SEVERITIES, Finding, Rule

Place: TypeAlias = tuple[int, str]
"""(segment, subject)."""


class State(Enum):
    """Where a life stands; in all but EASING the rule says that it is true."""

    WAITING = auto()
    """Not true for long enough to be told."""
    SPARE = auto()
    """To be told, but the code's places are taken: counted in 'and more'."""
    OPEN = auto()
    EASING = auto()
    """Told, and not false for long enough to be closed."""
    MENDED = auto()
    """Closed by a person while true: told anew on a new sign, when it gets worse, or when it just stays true."""


TOLD = (State.OPEN, State.EASING)

_SEVERITY, _CERTAINTY = ({name: rank for rank, name in enumerate(names)} for names in (SEVERITIES, CERTAINTIES))


@dataclass(slots=True)
class Life:
    """What the engine keeps of a subject. Times in ns."""

    finding: Finding
    """As told last."""
    begun: int
    """Tick end at which it became true."""
    since: int
    """Earliest time from which a finding said that it is true."""
    first: tuple[int, ...]
    """First packet numbers."""
    state: State = State.WAITING
    due: int = NEVER
    """When waiting or easing is over."""
    opening: tuple[int, ...] = ()
    """Packet numbers at opening."""
    alert: int = 0
    """Id, once told."""
    mended: Finding | None = None
    """As it was when a person said that it is mended."""

    @property
    def numbers(self) -> tuple[int, ...]:
        """The evidence so far."""
        return evidence(self.first, self.opening, self.finding.numbers)

    def tells_anew(self) -> bool:
        """Something that was said to be mended shows itself again, or got worse."""
        before, now = self.mended, self.finding
        return before is not None and (
            now.sign > before.sign or SEVERITIES.index(now.severity) > SEVERITIES.index(before.severity)
        )

    def tell_anew(self, now: int) -> None:
        """What was said to be mended and is not waits to be told, once its time has come."""
        if self.state is State.MENDED and self.due <= now:
            self.state, self.mended = State.WAITING, None

    def wait(self, rule: Rule, hole: int) -> None:
        """It is due when true for ``rule.after``; nothing from before the newest hole counts."""
        self.due = max(min(self.begun, self.since), hole) + rule.after


def weight(finding: Finding) -> tuple[int, int, int]:
    """Sorts findings: mildest, least certain and newest first."""
    return _SEVERITY[finding.severity], _CERTAINTY[finding.certainty], -finding.since


def by_place(rule: Rule, findings: Sequence[Finding]) -> dict[Place, Finding]:
    """A rule's findings by place; of two about the same the worse stands. An alert about the laptop is never 'now'."""
    told = {(f.segment, f.subject): f for f in findings}
    if len(told) < len(findings):
        told = {(f.segment, f.subject): f for f in sorted(findings, key=weight)}
    if rule.about_laptop:
        told = {place: replace(f, severity="soon") if f.severity == "now" else f for place, f in told.items()}
    return told


def covered(facts: Mapping[str, Any]) -> frozenset[str] | None:
    """The subjects that a cause says it explains, or None where that is its whole segment."""
    covers = facts.get("covers")
    return None if covers is None else frozenset(covers)
