"""One level of folding: consequences go under the cause that explains them."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from graphlib import CycleError, TopologicalSorter

from netwatch.alerts.alert import AND_MORE, Alert
from netwatch.alerts.book import Book
from netwatch.alerts.crowd import spares_by_segment
from netwatch.alerts.life import TOLD, Life, Place, State, covered
from netwatch.alerts.rule import Rule

CAUSES = (
    "capture-dropping", "loop", "nothing-heard-here", "wifi-roamed", "link-flapping", "multicast-dropped", "source-lost",
)  # fmt: skip
"""Codes in the order in which they win when several explain the same alert; all others come behind, in order of opening.

A hole in what was recorded is no alert: silences count from its end, so that nothing is told because of it.
"""


@dataclass(frozen=True)
class Standing:
    """An open alert as folding sees it."""

    alert: Alert
    ended: int | None
    """When it became false, or None while true."""
    subjects: tuple[str, ...]
    """Its subject, or those that 'and more' stands for."""

    @cached_property
    def covers(self) -> frozenset[str] | None:
        """As a cause: the subjects that it explains; None = all of its segment."""
        return covered(self.alert.facts)


class Folding:
    """Who explains whom, from the rules' declarations. Holds no state."""

    def __init__(self, rules: Mapping[str, Rule], gather: int, causes: Sequence[str] = CAUSES) -> None:
        """``gather`` = ns that a consequence may begin before its cause. ValueError: rules explain each other in a circle."""
        try:
            TopologicalSorter({code: rule.explains for code, rule in rules.items()}).prepare()
        except CycleError as error:
            raise ValueError(f"rules explain each other in a circle: {' -> '.join(error.args[1])}; drop one") from None
        self._rules, self._gather = rules, gather
        self._rank = {code: place for place, code in enumerate(causes)}
        self._causes: dict[str, list[str]] = {}
        for code, rule in rules.items():
            for consequence in rule.explains:
                self._causes.setdefault(consequence, []).append(code)

    def roots(self, standing: Mapping[int, Standing]) -> dict[int, int]:
        """For each open alert that is explained the id of the cause on top, which nothing explains."""
        index = _index(standing.values())
        direct = {id: self._cause(one.alert, one.subjects, index) for id, one in standing.items()}
        roots = {}
        for id, cause in direct.items():
            while cause is not None:
                roots[id] = cause
                cause = direct[cause]
        return roots

    def _cause(self, alert: Alert, subjects: tuple[str, ...], index: Mapping[tuple[str, int], list[Standing]]) -> int | None:
        """Id of the first cause in order that explains an alert."""
        found = [
            (self._rank.get(code, len(self._rank)), one.alert.id)
            for code in self._causes.get(alert.code, ())
            for one in index.get((code, alert.segment), ())
            if self._explains(one, alert, subjects)
        ]
        return min(found)[1] if found else None

    def _explains(self, cause: Standing, alert: Alert, subjects: tuple[str, ...]) -> bool:
        if alert.since < cause.alert.since - self._gather or (cause.ended is not None and alert.since > cause.ended):
            return False
        return cause.covers is None or (bool(subjects) and cause.covers.issuperset(subjects))

    def settle(self, book: Book, standing: Mapping[int, Standing], fresh: Collection[int]) -> dict[int, int | None]:
        """Folds anew after a change; ``fresh`` = ids that opened now. Gives id -> cause (or None) of all that moved.

        True alerts follow their causes. Those that are false already stay where they are, unless a cause takes them.
        """
        roots, moved = self.roots(standing), dict[int, int | None]()
        for id, one in standing.items():
            over = roots.get(id, None if one.ended is None else one.alert.over)
            if over != one.alert.over:
                moved[id] = over
        moved.update(self._late(book, [standing[id] for id in fresh if self._rules[standing[id].alert.code].explains], roots))
        for id, over in list(moved.items()):
            if over is not None:
                moved.update({n: over for n in book.alerts[id].under if n not in moved and n not in roots})
        for id, over in moved.items():
            book.fold(id, over)
        return dict(sorted(moved.items()))

    def _late(self, book: Book, fresh: Sequence[Standing], roots: Mapping[int, int]) -> dict[int, int]:
        """Alerts that closed before their cause opened."""
        if not fresh:
            return {}
        index = _index(fresh)
        causes = {alert.id: self._cause(alert, (alert.subject,), index) for alert in book.closed() if alert.over is None}
        return {id: roots.get(cause, cause) for id, cause in causes.items() if cause is not None}


def stand(lives: Mapping[Place, Life], book: Book) -> dict[int, Standing]:
    """The open alerts of one code, by id."""
    standing: dict[int, Standing] = {}
    spares = spares_by_segment(lives)
    for (segment, subject), life in lives.items():
        if life.state in TOLD:
            alert = book.alerts[life.alert]
            subjects = tuple(one.finding.subject for one in spares.get(segment, ())) if subject == AND_MORE else (subject,)
            ended = alert.last if life.state is State.EASING else None
            standing[alert.id] = Standing(alert, ended, subjects)
    return standing


def _index(standing: Iterable[Standing]) -> dict[tuple[str, int], list[Standing]]:
    index: dict[tuple[str, int], list[Standing]] = {}
    for one in standing:
        index.setdefault((one.alert.code, one.alert.segment), []).append(one)
    return index
