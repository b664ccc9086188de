"""How findings are told: no surer than can be from where we listen, no louder than the phase asks; and which of them are new."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, NamedTuple

from netwatch.alerts.building import Easing, eased
from netwatch.alerts.life import Place
from netwatch.alerts.rule import CERTAINTIES, VANTAGES, Finding, Rule
from netwatch.network.network import Network


class _Fit(NamedTuple):
    """A finding, what decides how it is told, and how it is told."""

    finding: Finding
    limit: str | None
    eases: bool
    fitted: Finding | None
    """None = it is not told: it can't be seen from there."""


class Fitting:
    """Of one rule. Of dozens of findings few are others the next time: one that is the same object says nothing new."""

    def __init__(self, rule: Rule) -> None:
        self._rule = rule
        self._limits: dict[int, str | None] = {}
        """The highest certainty, by segment."""
        self._phases: int | None = None
        """Changes of phase so far, where they alone decide whether something is eased."""
        self._fits: dict[int, _Fit] = {}
        """By ``id`` of the finding."""
        self._places: set[Place] = set()
        """Fewer than findings where several are about one place."""

    def __deepcopy__(self, memo: Any) -> Fitting:
        """In a copy each finding is another object."""
        return Fitting(self._rule)

    def fit(self, network: Network, findings: Sequence[Finding], easing: Easing) -> tuple[list[Finding], list[Place] | None]:
        """What is to be told: (the new ones, places of which nothing is said any more), or (all, None)."""
        rule, told = self._rule, {id(each): each for each in findings}
        new = [each for name, each in told.items() if name not in self._fits]
        segments = {*self._limits, *(each.segment for each in new)}
        limits = {segment: certainty_from(rule, network.where(segment)) for segment in segments}
        phases = easing.phases.turns if findings and (not rule.note_in_building or easing.hopeless) else None
        stands = phases is not None and phases == self._phases and self._limits.items() <= limits.items()
        self._limits, self._phases = limits, phases
        gone = self._renew(told, new) if stands else None
        if gone is None:
            self._places = {(each.segment, each.subject) for each in findings}
            new = list(findings)
        fits = [_fit(self._fits.get(id(each)), each, limits[each.segment], easing.eases(rule, each)) for each in new]
        if gone is None:
            self._fits = {}
        self._fits.update((id(fit.finding), fit) for fit in fits)
        return [fit.fitted for fit in fits if fit.fitted is not None], gone

    def _renew(self, told: dict[int, Finding], new: list[Finding]) -> list[Place] | None:
        """Places of which nothing is said any more; None where several findings are about one place."""
        gone = [name for name in self._fits if name not in told]
        left = [(each.segment, each.subject) for each in (self._fits.pop(name).finding for name in gone)]
        self._places.difference_update(left)
        self._places.update((each.segment, each.subject) for each in new)
        return [place for place in left if place not in self._places] if len(self._places) == len(told) else None


def _fit(before: _Fit | None, finding: Finding, limit: str | None, eases: bool) -> _Fit:
    if before is not None and (before.limit, before.eases) == (limit, eases):
        return before
    if limit is None:
        return _Fit(finding, limit, eases, None)
    certainty = min(finding.certainty, limit, key=CERTAINTIES.index)
    if eases:
        return _Fit(finding, limit, eases, eased(finding, certainty))
    return _Fit(finding, limit, eases, finding if certainty == finding.certainty else replace(finding, certainty=certainty))


def certainty_from(rule: Rule, vantage: str) -> str | None:
    """The highest certainty that a rule can have from a vantage; unknown takes the lowest of those that see it at all."""
    if vantage in VANTAGES:
        return rule.certainty.get(vantage)
    seen = [each for each in rule.certainty.values() if each is not None]
    return min(seen, key=CERTAINTIES.index, default=None)
