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


class Said:
    """What a rule said last. Of dozens of findings few are others the next time: one that is the same object says nothing new."""

    def __init__(self) -> None:
        self._findings: dict[int, Finding] = {}
        """By ``id``, which says nothing in a deep copy: so each is compared, too."""
        self._places: dict[Place, Finding] = {}
        """Empty where several were about one place."""

    def change(self, findings: Sequence[Finding]) -> tuple[list[Finding], list[Place]] | None:
        """(those that are new, places of which none is told any more); None where several are or were about one place."""
        before, plain = self._findings, len(self._places) == len(self._findings)
        told = self._findings = {id(each): each for each in findings}
        new = [each for name, each in told.items() if before.get(name) is not each]
        gone = [each for name, each in before.items() if told.get(name) is not each]
        for each in gone if plain else ():
            del self._places[each.segment, each.subject]
        self._places.update(((each.segment, each.subject), each) for each in (new if plain else findings))
        if plain and len(self._places) == len(told):
            return new, [place for each in gone if (place := (each.segment, each.subject)) not in self._places]
        if len(self._places) < len(told):
            self._places = {}
        return None

    def copy(self) -> Said:
        """One that goes on by itself."""
        new = Said()
        new._findings, new._places = self._findings, dict(self._places)
        return new


def covered(facts: Mapping[str, Any]) -> frozenset[str] | None:
    """The subjects that a cause says it explains, or None where that is its whole segment."""
    covers = facts.get("covers")
    return None if covers is None else frozenset(covers)
