"""The book of all alerts that were told: who is who by id and key, what a person accepted, closed ones up to a cap."""

from __future__ import annotations

from collections.abc import Iterator
from copy import copy
from dataclasses import replace
from typing import Any

from netwatch.alerts.alert import Accepted, Alert, Key, surer, worse
from netwatch.alerts.known import Known
from netwatch.alerts.life import Life
from netwatch.alerts.rule import NS
from netwatch.numbers import Numbers


class Book:
    """Alerts by id. ``dropped`` counts the closed ones that had to go."""

    def __init__(self, numbers: Numbers, known: Known) -> None:
        """An empty book; ``known`` = what a person accepted."""
        self._numbers = numbers
        self.alerts: dict[int, Alert] = {}
        self.dropped = 0
        self.known = known
        self._told = 0
        self._closed: dict[int, None] = {}
        self._newest: dict[Key, int] = {}
        self._openings: dict[Key, tuple[int, ...]] = {}

    def tell(self, key: Key, life: Life, now: int) -> bool:
        """Opens an alert for ``life``; False where the one before stays open instead, since it comes and goes."""
        before = self._newest.get(key)
        openings, most = self._openings.get(key, ()), int(self._numbers.flap_openings) - 1
        if before is not None and len(openings) == most and now - openings[0] <= self._numbers.flap_within_s * NS:
            self._reopen(before, life, now)
            return False
        self._told += 1
        severity, certainty = life.finding.severity, life.finding.certainty
        accepted = self.known.holds(key, severity, life.finding.facts, now)
        life.alert = self._newest[key] = self._told
        self.alerts[life.alert] = Alert(
            life.alert, *key, severity, certainty, life.since, opened=now, last=now, sign=life.finding.sign,
            again=before, accepted=accepted, facts=life.finding.facts, numbers=life.numbers,
        )  # fmt: skip
        self._openings[key] = (*openings, now)[-most:]
        return True

    def _reopen(self, id: int, life: Life, now: int) -> None:
        del self._closed[id]
        life.alert, life.first = id, self.alerts[id].numbers[:2]
        self.change(id, closed=None, flapping=True, times=self.alerts[id].times + 1)
        self.retell(life, now)

    def retell(self, life: Life, now: int) -> bool:
        """Brings an open alert up to date; whether it rose. Severity and certainty never fall; worse than known is news."""
        before, finding = self.alerts[life.alert], life.finding
        severity, certainty = worse(before.severity, finding.severity), surer(before.certainty, finding.certainty)
        accepted = before.accepted and self.known.holds(before.key, severity, finding.facts, now)
        self.change(
            life.alert, severity=severity, certainty=certainty, since=min(before.since, life.since),
            sign=max(before.sign, finding.sign), accepted=accepted, facts=finding.facts, numbers=life.numbers,
        )  # fmt: skip
        return (severity, certainty, accepted) != (before.severity, before.certainty, before.accepted)

    def close(self, id: int) -> None:
        """Closes an alert as of when it was last true; the one closed first goes when there are too many."""
        self.change(id, closed=self.alerts[id].last)
        self._closed[id] = None
        if len(self._closed) > self._numbers.cap_closed:
            self._drop(next(iter(self._closed)))

    def accepted(self, id: int, now: int) -> Accepted | None:
        """What a person accepted of an alert, as it is now."""
        alert = self.alerts[id]
        return self.known.holds(alert.key, alert.severity, alert.facts, now)

    def newest(self, key: Key) -> Alert | None:
        """The alert of this key that was told last."""
        id = self._newest.get(key)
        return None if id is None else self.alerts[id]

    def forgive(self, key: Key) -> None:
        """What comes under this key is news: its openings so far don't count."""
        self._openings.pop(key, None)

    def change(self, id: int, **changes: Any) -> None:
        """Replaces fields of an alert."""
        self.alerts[id] = replace(self.alerts[id], **changes)

    def fold(self, id: int, over: int | None) -> None:
        """Puts an alert under a cause, or on its own."""
        before = self.alerts[id].over
        if before is not None and before in self.alerts:
            self.change(before, under=tuple(n for n in self.alerts[before].under if n != id))
        if over is not None:
            self.change(over, under=tuple(sorted((*self.alerts[over].under, id))))
        self.change(id, over=over)

    def closed(self) -> Iterator[Alert]:
        """All closed alerts, the one closed first in front."""
        return (self.alerts[id] for id in self._closed)

    def copy(self) -> Book:
        """One that changes on its own."""
        new = copy(self)
        new.alerts, new._closed = dict(self.alerts), dict(self._closed)
        new._newest, new._openings = dict(self._newest), dict(self._openings)
        new.known = self.known.copy()
        return new

    def _drop(self, id: int) -> None:
        self.fold(id, None)
        alert = self.alerts.pop(id)
        del self._closed[id]
        self.dropped += 1
        if self._newest[alert.key] == id:
            del self._newest[alert.key]
            self._openings.pop(alert.key, None)
