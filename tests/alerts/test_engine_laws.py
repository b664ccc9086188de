"""What holds for the engine whatever is said to it. Its rules are our own; there is no published source."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from netwatch.alerts.alert import AND_MORE, Accepted, Alert, Event
from netwatch.alerts.engine import Engine
from netwatch.alerts.known import Left
from netwatch.alerts.rule import CERTAINTIES, NS, SEVERITIES, Finding, Rule
from netwatch.numbers import DEFAULTS

TICK = NS // 4
CAP = 3
NUMBERS = replace(DEFAULTS, cap_subjects=CAP)
FLAP_TICKS = int(DEFAULTS.flap_within_s * NS) // TICK
RULES = {
    one.code: one
    for one in (
        Rule("loop", until=2 * NS, explains=("lost",)),
        Rule("lost", after=2 * NS, until=0, explains=("silent", "laptop")),
        Rule("silent", after=NS, until=3 * NS),
        Rule("laptop", about_laptop=True),
    )
}
SUBJECTS = ("a", "b", "c", "d", "e")

findings = st.lists(
    st.builds(
        Finding,
        segment=st.integers(0, 1),
        subject=st.sampled_from(SUBJECTS),
        severity=st.sampled_from(SEVERITIES),
        certainty=st.sampled_from(CERTAINTIES),
        since=st.integers(0, 400).map(lambda tick: tick * TICK),
        facts=st.sampled_from([{}, {"covers": ["a", "b"]}, {"covers": list(SUBJECTS)}]),
        numbers=st.lists(st.integers(1, 99), max_size=8, unique=True).map(lambda n: tuple(sorted(n))),
        sign=st.sampled_from((0, 0, 5 * TICK, 300 * TICK)),
    ),
    max_size=10,
    unique_by=lambda finding: (finding.segment, finding.subject),
)
codes = st.sampled_from(sorted(RULES))
keys = st.tuples(codes, st.integers(0, 1), st.sampled_from((*SUBJECTS, AND_MORE)))
pauses = st.sampled_from((0, 1, 2, 4, 8, 13, 40, 2400))
"""Ticks."""


# ---- one subject against the rule of its life, written down plainly ----


@dataclass
class Expected:
    """An alert that the plain reckoning expects. Times in ticks."""

    opened: int
    gone: int
    times: int = 1
    flapping: bool = False

    def easing_ends(self, until: int) -> int:
        """When it closes if it stays false."""
        return self.gone + (max(until, FLAP_TICKS) if self.flapping else until)


def reckon(spans: list[tuple[int, int]], after: int, until: int) -> list[Expected]:
    """The alerts of a subject that is true during these spans."""
    alerts: list[Expected] = []
    for begin, end in spans:
        newest = alerts[-1] if alerts else None
        if newest and begin <= newest.easing_ends(until):
            newest.times, newest.gone = newest.times + 1, end
        elif begin + after < end:
            opened = begin + after
            if len(alerts) >= 3 and opened - alerts[-3].opened <= FLAP_TICKS:
                newest = alerts[-1]
                newest.times, newest.gone, newest.flapping = newest.times + 1, end, True
            else:
                alerts.append(Expected(opened, end))
    return alerts


def drive(engine: Engine, code: str, now: int, found: list[Finding]) -> list[Event]:
    """All that falls due before ``now``, then the update, then what falls due at it."""
    events = []
    while (due := engine.deadline()) is not None and due < now:
        events += engine.advance(due)
    engine.update(code, now, found)
    return events + engine.advance(now)


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 900), st.integers(1, 30)), max_size=12),
    st.sampled_from((0, 1, 4, 12)),
    st.sampled_from((0, 1, 8, 40)),
)
def test_one_subject_lives_as_reckoned_plainly(steps: list[tuple[int, int]], after: int, until: int) -> None:
    engine = Engine({"it": Rule("it", after=after * TICK, until=until * TICK)})
    spans, clock = [], 0
    for pause, length in steps:
        spans.append((clock + pause, clock + pause + length))
        clock += pause + length
    for begin, end in spans:
        drive(engine, "it", begin * TICK, [Finding(0, "rig", "soon", "likely", begin * TICK)])
        drive(engine, "it", end * TICK, [])
    drive(engine, "it", (clock + 9999) * TICK, [])
    told = [Expected(a.opened // TICK, (a.closed or 0) // TICK, a.times, a.flapping) for a in engine.alerts().values()]
    assert told == reckon(spans, after, until)


# ---- calls that say nothing new ----

steps = st.lists(st.tuples(pauses, codes, findings, st.integers(1, 5)), max_size=12)


@settings(max_examples=80, deadline=None)
@given(steps)
def test_calls_that_say_nothing_new_change_nothing(script: list[tuple[int, str, list[Finding], int]]) -> None:
    lean, busy = Engine(RULES, NUMBERS), Engine(RULES, NUMBERS)
    now, last, told, heard = 0, {}, [], []
    for pause, code, found, every in script:
        for tick in range(now + every, now + pause, every) if pause <= 40 else ():
            heard += extra(busy, tick * TICK, last)
        now, last[code] = now + pause, found
        told += drive(lean, code, now * TICK, found)
        heard += drive(busy, code, now * TICK, found)
        heard += extra(busy, now * TICK, last)
    assert (heard, busy.alerts()) == (told, lean.alerts())
    assert (busy.deadline(), busy.deadlines(), busy.live()) == (lean.deadline(), lean.deadlines(), lean.live())


def extra(engine: Engine, now: int, last: dict[str, list[Finding]]) -> list[Event]:
    """Says again what was said last, in another order, and advances."""
    events = []
    for code, found in last.items():
        events += drive(engine, code, now, found[::-1])
    return events + engine.advance(now)


# ---- what always holds ----


class Anything(RuleBasedStateMachine):
    """Anything may be said; the checks below hold after each step."""

    def __init__(self) -> None:
        super().__init__()
        self.engine = Engine(RULES, NUMBERS)
        self.now = 0
        self.open: set[int] = set()
        self.seen: dict[int, Alert] = {}
        self.newest = 0

    @rule(pause=pauses, code=codes, found=findings)
    def update(self, pause: int, code: str, found: list[Finding]) -> None:
        """A rule was asked."""
        self.now += pause * TICK
        self.hear(drive(self.engine, code, self.now, found))

    @rule(key=keys)
    def mend(self, key: Any) -> None:
        """A person says 'mended'."""
        self.hear(self.engine.mend(key, self.now) + self.engine.advance(self.now))

    @rule(key=keys, until=st.none() | st.integers(0, 60))
    def accept(self, key: Any, until: int | None) -> None:
        """A person says 'known'."""
        severity, of = self.engine.as_it_is(key[0], str(key[1]), key[2]) or ("soon", None)
        accepted = Accepted(self.now, None if until is None else self.now + until * TICK, "known", severity, of)
        events = self.engine.leave(Left(key[0], str(key[1]), key[2], accepted), self.now)
        self.hear(events + self.engine.advance(self.now))

    @rule(key=keys)
    def heed(self, key: Any) -> None:
        """A person takes it back."""
        events = self.engine.heed(key[0], str(key[1]), key[2], self.now)
        self.hear(events + self.engine.advance(self.now))
        assert all(a.accepted is None for a in self.engine.alerts().values() if a.key == key and a.closed is None)

    @rule(gap=st.integers(1, 100))
    def hole(self, gap: int) -> None:
        """Nothing was heard for a while, nor was the engine driven."""
        self.now += gap * TICK
        self.engine.hole(self.now, gap * TICK)
        self.hear(self.engine.advance(self.now))

    @rule(code=codes, found=findings)
    def go_on_with_a_copy(self, code: str, found: list[Finding]) -> None:
        """What happens to the one it was copied from is nothing to the copy."""
        old, self.engine = self.engine, self.engine.copy()
        before = self.engine.alerts(), self.engine.deadline(), self.engine.live()
        for soon in range(1, 30, 7):
            drive(old, code, self.now + soon * NS, found[soon % 3 :])
            old.mend((code, 0, "a"), self.now)
        assert (self.engine.alerts(), self.engine.deadline(), self.engine.live()) == before

    def hear(self, events: list[Event]) -> None:
        """Follows what is open from events alone; ids rise."""
        alerts = self.engine.alerts()
        for event in events:
            if event.what == "opened":
                assert event.alert > self.newest
                self.newest = event.alert
                self.open.add(event.alert)
            elif event.what == "closed":
                self.open.remove(event.alert)
            elif event.what == "changed" and alerts[event.alert].flapping:
                self.open.add(event.alert)

    @invariant()
    def events_tell_what_is_open(self) -> None:
        """And at most one alert a key is."""
        alerts = [alert for alert in self.engine.alerts().values() if alert.closed is None]
        assert {alert.id for alert in alerts} == self.open
        assert len({alert.key for alert in alerts}) == len(alerts)

    @invariant()
    def times_are_in_order(self) -> None:
        """Nothing is told before it was true for ``after``."""
        for alert in self.engine.alerts().values():
            assert alert.since + RULES[alert.code].after <= alert.opened <= alert.last <= self.now
            assert alert.closed is None or alert.since <= alert.closed == alert.last
            assert alert.again is None or alert.again < alert.id

    @invariant()
    def what_is_known_is_no_worse_than_what_was_accepted(self) -> None:
        """Of what is open."""
        for alert in self.engine.alerts().values():
            if alert.accepted is not None and alert.closed is None:
                assert SEVERITIES.index(alert.severity) <= SEVERITIES.index(alert.accepted.worst)
                assert alert.accepted.ends > self.now

    @invariant()
    def what_is_worse_stays_worse(self) -> None:
        """Severity and certainty never fall; the laptop's is never 'now'."""
        alerts = self.engine.alerts()
        for id, before in self.seen.items():
            assert SEVERITIES.index(alerts[id].severity) >= SEVERITIES.index(before.severity)
            assert CERTAINTIES.index(alerts[id].certainty) >= CERTAINTIES.index(before.certainty)
        assert all(alert.severity != "now" for alert in alerts.values() if alert.code == "laptop")
        self.seen = alerts

    @invariant()
    def there_are_never_too_many(self) -> None:
        """Open subjects a code, and numbers an alert."""
        alerts = self.engine.alerts().values()
        for code in RULES:
            assert sum(a.code == code and a.closed is None and a.subject != AND_MORE for a in alerts) <= CAP
        assert all(len(a.numbers) <= 8 and list(a.numbers) == sorted(set(a.numbers)) for a in alerts)

    @invariant()
    def folding_has_one_level(self) -> None:
        """And both sides of it agree."""
        alerts = self.engine.alerts()
        under = {alert.id: tuple(a.id for a in alerts.values() if a.over == alert.id) for alert in alerts.values()}
        for alert in alerts.values():
            assert alert.under == under[alert.id]
            assert alert.over is None or (alerts[alert.over].over is None and alerts[alert.over].segment == alert.segment)

    @invariant()
    def nothing_is_left_undone(self) -> None:
        """What is due next is later than now, and no waiting one comes before it."""
        due = self.engine.deadline()
        assert due is None or due > self.now
        assert all(due is not None and due <= soon for soon in self.engine.deadlines().values())


Anything.TestCase.settings = settings(max_examples=50, stateful_step_count=25, deadline=None)
TestAnything = Anything.TestCase
