"""At most so many subjects of a code are told; one 'and more' a segment stands for the rest."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, TypeAlias

from netwatch.alerts.alert import AND_MORE, evidence, surer, worse
from netwatch.alerts.life import TOLD, Life, Place, State, covered
from netwatch.alerts.rule import SEVERITIES, Finding

Placed: TypeAlias = tuple[Place, Life]


def allot(lives: Mapping[Place, Life], cap: int, now: int) -> tuple[list[Placed], list[Placed]]:
    """What is to be told at ``now``, and what finds no place: those told keep theirs, then the worst and oldest come first."""
    own = [(place, life) for place, life in lives.items() if place[1] != AND_MORE]
    ready = [(place, life) for place, life in own if life.state is State.SPARE or is_ripe(life, now)]
    ready.sort(key=lambda one: (-SEVERITIES.index(one[1].finding.severity), one[1].since, one[0]))
    free = max(cap - sum(life.state in TOLD for _, life in own), 0)
    return ready[:free], ready[free:]


def is_ripe(life: Life, now: int) -> bool:
    """Whether it waited long enough."""
    return life.state is State.WAITING and life.due <= now


def spares_by_segment(lives: Mapping[Place, Life]) -> dict[int, list[Life]]:
    """The lives without a place, by segment and subject."""
    spares: dict[int, list[Life]] = {}
    for (segment, _), life in sorted((p, life) for p, life in lives.items() if life.state is State.SPARE):
        spares.setdefault(segment, []).append(life)
    return spares


def and_more(segment: int, spares: Sequence[Life]) -> Finding:
    """The finding that stands for ``spares`` (at least one): as bad as the worst, as old as the oldest."""
    findings = [life.finding for life in spares]
    severity, certainty = findings[0].severity, findings[0].certainty
    for finding in findings:
        severity, certainty = worse(severity, finding.severity), surer(certainty, finding.certainty)
    numbers = sorted({n for f in findings for n in f.numbers})
    since = min(life.since for life in spares)
    return Finding(segment, AND_MORE, severity, certainty, since, _facts(findings), evidence(numbers, numbers, numbers))


def _facts(findings: Iterable[Finding]) -> dict[str, Any]:
    """How many more; and what they cover together, where each of them says so."""
    covers = [covered(f.facts) for f in findings]
    known = [c for c in covers if c is not None]
    facts: dict[str, Any] = {"more": len(covers)}
    if len(known) == len(covers):
        facts["covers"] = sorted(frozenset[str]().union(*known))
    return facts
