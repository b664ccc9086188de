"""The life of alerts: waiting, open, easing, closed. Pure: what it tells depends on what it was told and when, on nothing else.

At a tick end ``now`` the driver calls, in this order: ``hole`` (if there was one), ``update`` for each rule that it asked,
``leave``, ``heed`` and ``mend`` for what a person said, ``advance``. It must advance at the first tick end that reaches
``deadline``; advancing at other times changes nothing. Times are int ns and never go back.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import replace

from netwatch.alerts.alert import AND_MORE, NEVER, Alert, Event, Key
from netwatch.alerts.book import Book
from netwatch.alerts.crowd import allot, and_more, spares_by_segment
from netwatch.alerts.folding import CAUSES, Folding, Standing, stand
from netwatch.alerts.known import Known, Left, members
from netwatch.alerts.life import TOLD, Life, Place, State, by_place, covered
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.numbers import DEFAULTS, Numbers


class Engine:
    """Opens, folds and closes the alerts of ``rules`` (by code)."""

    def __init__(
        self, rules: Mapping[str, Rule], numbers: Numbers = DEFAULTS, causes: Sequence[str] = CAUSES, *,
        where: Callable[[int], str] = str,
    ) -> None:  # fmt: skip
        """``causes`` = codes in the order in which they win; ``where`` gives the place of a segment.

        ValueError where rules explain each other in a circle.
        """
        self._rules = {code: rule.under(numbers) for code, rule in rules.items()}
        self._cap, self._flap_within = int(numbers.cap_subjects), int(numbers.flap_within_s * NS)
        self._mended_wait, self._where = int(numbers.mended_wait_s * NS), where
        self._folding = Folding(self._rules, int(numbers.gather_s * NS), causes)
        self._lives: dict[str, dict[Place, Life]] = {}
        self._book = Book(numbers, Known(self._rules, where, int(numbers.cap_known)))
        self._now = 0
        self._hole = 0
        self._risen: frozenset[int] = frozenset()
        self._pending = False
        """Something is to be done at the next advance, whenever that is."""
        self._stale = False
        """The two below are no longer right."""
        self._due = NEVER
        self._waiting: Mapping[str, int] = {}

    # ---- what is said ----

    def update(self, code: str, now: int, findings: Sequence[Finding], gone: Collection[Place] | None = None) -> None:
        """All subjects of which the rule says at tick end ``now`` that it is true. Until the next call it stays so.

        Where ``gone`` is given, ``findings`` are those that are others than before, and of these places nothing is said any more.
        """
        self._move(now)
        told, lives = by_place(self._rules[code], findings), self._lives.setdefault(code, {})
        for place, finding in told.items():
            life = lives.get(place)
            if life is None or life.finding is not finding or life.state is State.EASING:
                self._true(code, place, finding)
        if gone is None:
            gone = [place for place in lives if place not in told and place[1] != AND_MORE]
        for place in gone:
            if place in lives:
                self._false(code, place)

    def holds(self, code: str) -> bool:
        """Something of this code is waiting, open, easing, or mended; where nothing is, 'nothing' need not be said."""
        return bool(self._lives.get(code))

    def hole(self, now: int, gap_ns: int) -> None:
        """Nothing was heard for ``gap_ns`` before ``now``: waiting starts anew, easing doesn't count the gap."""
        self._move(now)
        self._hole, self._stale = now, True
        for code, _, life in self._each():
            if life.state is State.WAITING:
                life.wait(self._rules[code], now)
            elif life.due != NEVER:
                life.due += gap_ns

    def leave(self, left: Left, at: int) -> list[Event]:
        """A person said 'known, leave it': true of what is open now and of what comes, as long as it is no worse."""
        self._book.known.say(left)
        return self._look_anew(left.code, left.subject, at)

    def as_it_is(self, code: str, where: str, subject: str) -> tuple[str, frozenset[str] | None] | None:
        """(severity, members) of the newest alert there, as the measure of what is known; None where none was told."""
        found = [
            alert for alert in self._book.alerts.values()
            if (alert.code, alert.subject) == (code, subject) and where in ("", self._where(alert.segment))
        ]  # fmt: skip
        if not found:
            return None
        return found[-1].severity, members(self._rules[code], found[-1].facts)

    def heed(self, code: str, where: str, subject: str, at: int) -> list[Event]:
        """A person takes 'known, leave it' back."""
        self._book.known.forget(code, where, subject)
        return self._look_anew(code, subject, at)

    def _look_anew(self, code: str, subject: str, at: int) -> list[Event]:
        """What is known of the open alerts of this code and subject may be another now."""
        events = []
        for place, life in self._lives.get(code, {}).items():
            if place[1] != subject or life.state not in TOLD:
                continue
            accepted = self._book.accepted(life.alert, at)
            if accepted != self._book.alerts[life.alert].accepted:
                self._book.change(life.alert, accepted=accepted)
                self._stale = True
                events.append(Event(at, "changed" if accepted is None else "accepted", life.alert))
        return events

    def known(self) -> Iterable[Left]:
        """All that a person said is known, oldest first."""
        return self._book.known.all()

    def mend(self, key: Key, at: int) -> list[Event]:
        """A person said 'mended': closed at once and watched on (``State.MENDED``); [] where no such alert is open."""
        life = self._lives.get(key[0], {}).get(key[1:])
        if life is None or life.state not in TOLD:
            return []
        if life.state is State.OPEN:
            self._book.change(life.alert, last=max(at, self._now))
            life.state, life.mended = State.MENDED, life.finding
            life.due = NEVER if life.finding.sign else max(at, self._now) + self._mended_wait
        else:
            del self._lives[key[0]][key[1:]]
            life.due = NEVER
        self._book.close(life.alert)
        self._book.forgive(key)
        self._book.known.forget(key[0], self._where(key[1]), key[2])
        self._pending = self._stale = True
        return [Event(at, "mended", life.alert), Event(at, "closed", life.alert)]

    # ---- what comes of it ----

    def advance(self, now: int) -> list[Event]:
        """Does all whose time has come at tick end ``now``; its events in order: closed, opened, folding, changed."""
        self._move(now)
        due = self.deadline()
        if due is None or due > now:
            return []
        closed = self._close()
        self._tell_anew()
        ready = [one for code in self._lives for one in self._allot(code)]
        closed += self._close()  # an 'and more' may have ended just now
        opened, reopened = self._open(ready)
        moved = self._fold([*opened, *reopened])
        changed = sorted({*reopened, *self._risen, *self._outlived()} & self._book.alerts.keys())
        self._risen, self._pending, self._stale = frozenset(), False, True
        return [
            *(Event(now, "closed", id) for id in sorted(closed)),
            *(Event(now, "opened", id) for id in opened),
            *(Event(now, "unfolded" if over is None else "folded", id) for id, over in moved.items()),
            *(Event(now, "changed", id) for id in changed),
        ]

    def deadline(self) -> int | None:
        """When ``advance`` has something to do next: a later time, or the newest tick where that is still to be done."""
        if self._pending:
            return self._now
        self._look()
        return None if self._due == NEVER else self._due

    def deadlines(self) -> Mapping[str, int]:
        """By code when the first waiting alert is to open: ask the rule again at that tick, so that its facts are fresh."""
        self._look()
        return self._waiting

    def live(self) -> frozenset[str]:
        """Codes of which something is waiting, open, easing, or mended but still true."""
        return frozenset(filter(self.holds, self._lives))

    def alerts(self, now: int | None = None, only: Collection[int] | None = None) -> dict[int, Alert]:
        """All alerts that were told, by rising id; those that are true were so until ``now`` (default: the newest tick).

        ``only`` = ids of some.
        """
        told = self._book.alerts
        alerts = dict(told) if only is None else {id: told[id] for id in sorted(only) if id in told}
        for _, _, life in self._each():
            if life.state is State.OPEN and life.alert in alerts:
                alerts[life.alert] = replace(alerts[life.alert], last=self._now if now is None else now)
        return alerts

    @property
    def dropped(self) -> int:
        """Closed alerts that were let go because there were too many."""
        return self._book.dropped

    def copy(self) -> Engine:
        """One that goes on by itself; what never changes is shared."""
        new = copy(self)
        new._lives = {code: {place: copy(life) for place, life in lives.items()} for code, lives in self._lives.items()}
        new._book = self._book.copy()
        return new

    # ---- one subject ----

    def _true(self, code: str, place: Place, finding: Finding) -> None:
        rule, lives = self._rules[code], self._lives[code]
        life = lives.get(place)
        if life is None:
            life = lives[place] = Life(finding, self._now, min(finding.since, self._now), finding.numbers[:2])
            life.wait(rule, self._hole)
            self._stale = True
            return
        if life.state is State.EASING:
            life.state, life.due = State.OPEN, NEVER
            self._book.change(life.alert, times=self._book.alerts[life.alert].times + 1)
            self._pending = True
        if finding != life.finding:
            self._again(rule, life, finding)
        life.finding = finding

    def _again(self, rule: Rule, life: Life, finding: Finding) -> None:
        """Something new about what is true already."""
        reach = finding.since < life.since or _covers_others(finding, life.finding)
        life.finding, life.since = finding, min(life.since, finding.since)
        if life.state is State.WAITING:
            life.wait(rule, self._hole)
            self._stale = True
        elif life.state is State.OPEN:
            if self._book.retell(life, self._now):
                self._risen |= {life.alert}
                reach = True
            self._pending |= reach
        elif life.state is State.MENDED and life.tells_anew():
            life.due, self._stale = self._now, True
        elif life.state is State.SPARE:
            self._pending = True

    def _false(self, code: str, place: Place) -> None:
        life, until = self._lives[code][place], self._rules[code].until
        if life.state is State.EASING:
            return
        self._stale = True
        if life.state is State.OPEN:
            if self._book.alerts[life.alert].flapping:
                until = max(until, self._flap_within)
            life.state, life.due = State.EASING, self._now + until
            self._book.change(life.alert, last=self._now)
            self._pending = True
        else:
            self._pending |= life.state is State.SPARE
            del self._lives[code][place]

    # ---- steps of advance ----

    def _close(self) -> list[int]:
        closed = [one for one in self._each() if one[2].state is State.EASING and one[2].due <= self._now]
        for code, place, life in closed:
            self._book.close(life.alert)
            del self._lives[code][place]
        return [life.alert for _, _, life in closed]

    def _tell_anew(self) -> None:
        """What was said to be mended and is not."""
        for _, _, life in self._each():
            life.tell_anew(self._now)

    def _allot(self, code: str) -> list[tuple[Key, Life]]:
        """What of a code is to open now; what finds no place is told by 'and more'."""
        lives = self._lives[code]
        ready, left = allot(lives, self._cap, self._now)
        for _, life in left:
            life.state, life.due = State.SPARE, NEVER
        for _, life in ready:
            life.state = State.WAITING
        spares = spares_by_segment(lives)
        for segment, some in spares.items():
            self._true(code, (segment, AND_MORE), and_more(segment, some))
        for place, life in [(place, life) for place, life in lives.items() if place[1] == AND_MORE]:
            if place[0] not in spares:
                self._false(code, place)
                continue
            life.tell_anew(self._now)  # it may have got worse just now
            if life.state is State.WAITING:
                ready.append((place, life))
        return [((code, *place), life) for place, life in ready]

    def _open(self, ready: list[tuple[Key, Life]]) -> tuple[list[int], list[int]]:
        """Tells what is ready, by key. Ids of new alerts, and of those that stay open because they come and go."""
        opened: list[int] = []
        reopened: list[int] = []
        for key, life in sorted(ready, key=lambda one: one[0]):
            life.state, life.due, life.opening = State.OPEN, NEVER, life.finding.numbers
            new = self._book.tell(key, life, self._now)
            (opened if new else reopened).append(life.alert)
        return opened, reopened

    def _fold(self, fresh: Collection[int]) -> dict[int, int | None]:
        """Ids that moved, each with its new cause or None."""
        standing: dict[int, Standing] = {}
        for lives in self._lives.values():
            standing |= stand(lives, self._book)
        return self._folding.settle(self._book, standing, fresh)

    def _outlived(self) -> list[int]:
        """Ends what was accepted until now; ids."""
        told = [self._book.alerts[life.alert] for _, _, life in self._each() if life.state in TOLD]
        outlived = [alert.id for alert in told if alert.accepted is not None and alert.accepted.ends <= self._now]
        for id in outlived:
            self._book.change(id, accepted=self._book.accepted(id, self._now))
        return outlived

    def _look(self) -> None:
        """Finds anew what is due next."""
        if not self._stale:
            return
        self._stale, self._due = False, NEVER
        waiting: dict[str, int] = {}
        for code, _, life in self._each():
            self._due = min(self._due, life.due)
            if life.state is State.WAITING or (life.state is State.MENDED and life.due != NEVER):
                waiting[code] = min(waiting.get(code, NEVER), life.due)
            elif life.state in TOLD and (accepted := self._book.alerts[life.alert].accepted) is not None:
                self._due = min(self._due, accepted.ends)
        self._waiting = waiting

    def _move(self, now: int) -> None:
        if now < self._now:
            raise ValueError(f"the alert engine was driven back in time, from {self._now} to {now} ns")
        self._now = now

    def _each(self) -> Iterator[tuple[str, Place, Life]]:
        return ((code, place, life) for code, lives in self._lives.items() for place, life in lives.items())


def _covers_others(one: Finding, other: Finding) -> bool:
    mine, its = one.facts.get("covers"), other.facts.get("covers")
    return bool(mine != its) and covered(one.facts) != covered(other.facts)
