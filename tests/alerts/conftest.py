"""A small script language for the life of alerts, so that a story of it reads aloud.

A story reads: at a second something is true or false, and the engine tells this and that. Between two times of a story the
engine is advanced exactly when it asked for it. ``tells`` compares all that was told since the last ``tells``.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from netwatch.alerts.alert import Accepted, Alert, Event
from netwatch.alerts.engine import Engine
from netwatch.alerts.known import Left
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.numbers import DEFAULTS

RULES = (
    Rule("at-once"),
    Rule("patient", after=5 * NS),
    Rule("no-patience-at-end", until=0),
    Rule("laptop", about_laptop=True),
    Rule("silent"),
    Rule("many", worse_with="servers"),
    Rule("dropped", after=3 * NS),
    Rule("source-lost", explains=("silent",)),
    Rule("multicast-dropped", explains=("silent", "dropped")),
    Rule("aardvark", explains=("silent",)),
    Rule("loop", explains=("source-lost",)),
)


def ns(seconds: float) -> int:
    """Seconds to ns."""
    return round(seconds * NS)


class Story:
    """Drives an engine as the fold would."""

    def __init__(self, cap: int = 64, **numbers: float) -> None:
        self.engine = Engine({rule.code: rule for rule in RULES}, replace(DEFAULTS, cap_subjects=cap, **numbers))
        self.now = 0
        self.told: list[str] = []
        self.facts: dict[str, dict[tuple[int, str], Finding]] = {}

    def at(self, seconds: float) -> Story:
        """Moves on, doing at its time all that falls due on the way."""
        while (due := self.engine.deadline()) is not None and due < ns(seconds):
            self._advance(max(due, self.now))
        self.now = ns(seconds)
        return self

    def true(self, code: str, *subjects: str, segment: int = 0, since: float | None = None, **finding: Any) -> Story:
        """From now on the rule says so of these subjects, too."""
        for subject in subjects:
            given = {"severity": "quality", "certainty": "likely"} | finding
            given["since"] = self.now if since is None else ns(since)
            self.facts.setdefault(code, {})[segment, subject] = Finding(segment, subject, **given)
        return self._update(code)

    def false(self, code: str, *subjects: str, segment: int = 0) -> Story:
        """From now on the rule no longer says so of these."""
        for subject in subjects:
            del self.facts[code][segment, subject]
        return self._update(code)

    def flicker(self, *openings: float) -> Story:
        """'at-once' is true for a second at each of these."""
        for second in openings:
            self.at(second).true("at-once", "rig").at(second + 1).false("at-once", "rig")
        return self

    def hole(self, seconds: float) -> Story:
        """Nothing was heard for so long before now."""
        self.engine.hole(self.now, ns(seconds))
        return self

    def accept(self, code: str, subject: str, until: float | None = None, worst: str = "", where: str = "0") -> Story:
        """A person says 'known, leave it'; of what is open as it is, where ``worst`` is not said."""
        severity, of = self.engine.as_it_is(code, where, subject) or ("now", None)
        accepted = Accepted(self.now, None if until is None else ns(until), "hired like that", worst or severity, of)
        return self._write(self.engine.leave(Left(code, where, subject, accepted), self.now))

    def heed(self, code: str, subject: str) -> Story:
        """A person takes that back."""
        return self._write(self.engine.heed(code, "0", subject, self.now))

    def mend(self, code: str, subject: str) -> Story:
        """A person says 'mended'."""
        return self._write(self.engine.mend((code, 0, subject), self.now))

    def tells(self, *expected: str) -> Story:
        """All that was told since last asked."""
        self._advance(self.now)
        assert self.told == list(expected)
        self.told = []
        return self

    def skip(self) -> Story:
        """Lets by all that was told so far."""
        self._advance(self.now)
        self.told = []
        return self

    def alert(self, id: int) -> Alert:
        """An alert as it stands now."""
        self._advance(self.now)
        return self.engine.alerts(self.now)[id]

    def subjects(self, over: str | None) -> list[str]:
        """Of all alerts that stand alone (None) or under that code."""
        alerts = self.skip().engine.alerts(self.now)
        return [a.subject for a in alerts.values() if (a.over and alerts[a.over].code) == over]

    def _update(self, code: str) -> Story:
        self.engine.update(code, self.now, list(self.facts[code].values()))
        return self

    def _advance(self, now: int) -> None:
        self._write(self.engine.advance(now))

    def _write(self, events: list[Event]) -> Story:
        alerts = self.engine.alerts()
        for event in events:
            alert = alerts[event.alert]
            cause = f" under {alerts[alert.over].code}" if event.what == "folded" and alert.over else ""
            self.told.append(f"{event.at / NS:g} {event.what} {alert.code} {alert.subject}{cause}")
        return self


@pytest.fixture
def story() -> Story:
    """A story with room for all."""
    return Story()


@pytest.fixture
def capped() -> type[Story]:
    """Makes a story with so many places a code, and with other numbers."""
    return Story
