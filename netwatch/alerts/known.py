"""'Known, leave it': what a person accepted, and when that ends."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from copy import copy
from dataclasses import dataclass
from typing import Any

from netwatch.alerts.alert import Accepted, Key
from netwatch.alerts.rule import SEVERITIES, Rule


@dataclass(frozen=True, slots=True)
class Left:
    """A person's word about one thing."""

    code: str
    where: str
    """The place as ``netwatch.network.network.place`` tells it, '' = anywhere."""
    subject: str
    accepted: Accepted


def members(rule: Rule, facts: Mapping[str, Any]) -> frozenset[str] | None:
    """All that a thing is about, as text, where more of them makes it worse; None where they don't count."""
    told = facts.get(rule.worse_with) if rule.worse_with else None
    return frozenset(map(str, told)) if isinstance(told, list | tuple) else None


class Known:
    """What was said, by (code, place, subject). It outlasts the alert: what comes back no worse is still known."""

    def __init__(self, rules: Mapping[str, Rule], where: Callable[[int], str], cap: int) -> None:
        """Nothing is accepted. ``where`` gives the place of a segment; the newest ``cap`` things said are kept."""
        self._rules, self._where, self._cap = rules, where, cap
        self._said: dict[tuple[str, str, str], Left] = {}

    def say(self, left: Left) -> None:
        """Accepts what is no worse than that; what was said of the same thing before no longer counts."""
        which = left.code, left.where, left.subject
        self._said.pop(which, None)
        self._said[which] = left
        while len(self._said) > self._cap:
            del self._said[next(iter(self._said))]

    def holds(self, key: Key, severity: str, facts: Mapping[str, Any], now: int) -> Accepted | None:
        """The acceptance that holds at ``now`` for a thing so bad; one that was outlived is forgotten."""
        if not self._said:
            return None
        code, segment, subject = key
        for where in (self._where(segment), ""):
            left = self._said.get((code, where, subject))
            if left is None:
                continue
            if left.accepted.ends <= now:
                del self._said[code, where, subject]
            elif self._covers(left.accepted, code, severity, facts):
                return left.accepted
        return None

    def _covers(self, accepted: Accepted, code: str, severity: str, facts: Mapping[str, Any]) -> bool:
        if SEVERITIES.index(severity) > SEVERITIES.index(accepted.worst):
            return False
        about = members(self._rules[code], facts)
        return accepted.of is None or about is None or about <= accepted.of

    def forget(self, code: str, where: str, subject: str) -> None:
        """Nothing is accepted there any more, whether it was said of this place or of all."""
        self._said.pop((code, where, subject), None)
        self._said.pop((code, "", subject), None)

    def all(self) -> Iterable[Left]:
        """Everything that was said, oldest first."""
        return self._said.values()

    def copy(self) -> Known:
        """One that changes on its own."""
        new = copy(self)
        new._said = dict(self._said)
        return new
