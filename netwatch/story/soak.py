"""Does the rig hold? What a soak tested, what failed, and what could not be tested from here; judged as in a show."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from netwatch.numbers import Numbers
from netwatch.plan.standing import DIFFERS, MISSING
from netwatch.story.checks import BEHIND
from netwatch.story.snapshot import AlertView, Snapshot, StreamView
from netwatch.words import soak as words
from netwatch.words.checks import CHECKS
from netwatch.words.plan_compare import difference

NS = 1_000_000_000
_GRAVE = ("now", "soon")


@dataclass(frozen=True, slots=True)
class Soaked:
    """What was done. Times in ns since 1970."""

    begun: int
    """From here on it counts: what should be joined was."""
    joined: Mapping[int, int]
    """When each universe was joined."""
    expected: Collection[int]
    """Universes that the plan or a controller says are sent."""
    whole: bool
    """It was not stopped before its time."""


@dataclass(frozen=True, slots=True)
class Item:
    """One line of the sheet."""

    state: str
    """One of ``words.soak.HEADS``."""
    name: str
    text: str
    step: str = ""
    """The first thing to do."""
    alert: AlertView | None = None
    vital: bool = False
    """Without it nobody can say 'ready'."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """The result."""

    verdict: str
    items: tuple[Item, ...]

    def of(self, state: str) -> list[Item]:
        """Those in one state."""
        return [each for each in self.items if each.state == state]


def judge(snapshot: Snapshot, tested: Soaked, numbers: Numbers) -> Sheet:
    """The sheet."""
    alerts = [each for each in snapshot.alerts if each.over is None and each.accepted is None]
    items = [*_laptop(snapshot, alerts, tested), *_alerts(alerts), *_plan(snapshot), *_multicast(snapshot, tested, numbers)]
    if not any(_runs(each) for each in snapshot.streams) and not any(each.state == words.FAILED for each in items):
        items.append(Item(words.UNTESTED, words.LIGHT, words.NO_LIGHT, vital=True))
    items += _checks(snapshot, {each.alert.code for each in items if each.alert is not None and each.state == words.FAILED})
    if any(each.state == words.FAILED for each in items):
        verdict = words.NOT_READY
    else:
        verdict = words.CANNOT_SAY if any(each.state == words.UNTESTED and each.vital for each in items) else words.READY
    return Sheet(verdict, tuple(items))


# ---- what stands against it ----


def _laptop(snapshot: Snapshot, alerts: Sequence[AlertView], tested: Soaked) -> list[Item]:
    """What makes all the rest doubtful."""
    items = []
    doubts = [each.title for each in alerts if each.doubtful]
    doubts += [f"{snapshot.dropped:,} packets were dropped"] if snapshot.dropped else []
    if doubts:
        items.append(Item(words.UNTESTED, words.LAPTOP, words.not_trusted(doubts), vital=True))
    if {each.vantage for each in snapshot.listening} == {"limited"}:
        items.append(Item(words.UNTESTED, words.LAPTOP, words.LIMITED, vital=True))
    if not tested.whole:
        items.append(Item(words.UNTESTED, words.TIME, words.STOPPED, vital=True))
    return items


def _runs(stream: StreamView) -> bool:
    return not (stream.silent or stream.ended or stream.preview or stream.ours)


def _alerts(alerts: Sequence[AlertView]) -> list[Item]:
    """Whatever stopped the show, or soon would, also if it is over; lesser things are worth a look."""
    items = []
    for each in alerts:
        severity = str(each.facts.get("in_a_show", each.severity))  # while a rig is put up, some are only notes
        if each.about_laptop or severity not in (*_GRAVE, "quality"):
            continue
        state = words.FAILED if severity in _GRAVE else words.LOOK
        items.append(Item(state, "", each.title, each.first_step, each))
    return items


def _plan(snapshot: Snapshot) -> list[Item]:
    """What differs from the plan, and what of it was not heard."""
    if snapshot.plan is None:
        return []
    name = CHECKS["planned"][0]
    items = [
        Item(words.FAILED, name, f"{each.name}: {'; '.join(map(difference, each.differences))}.")
        for each in snapshot.plan.of(DIFFERS)
    ]
    missing = [each.name for each in snapshot.plan.of(MISSING)]
    return [*items, *([Item(words.UNTESTED, name, words.missing(missing), vital=True)] if missing else [])]


# ---- whether multicast holds ----


def _multicast(snapshot: Snapshot, tested: Soaked, numbers: Numbers) -> list[Item]:
    """Light that was asked for must outlive what the switch remembers, and the questions that renew it must come."""
    light = [each for each in snapshot.streams if each.protocol == "e131" and each.destination == "group" and not each.ours]
    items = _asked(light, tested)
    if not light and not tested.joined:
        return [*items, Item(words.UNTESTED, words.AGEING, words.NO_MULTICAST)]
    return [*items, *_ageing(snapshot, light, tested, numbers), *_queries(snapshot, tested, numbers)]


def _asked(light: Sequence[StreamView], tested: Soaked) -> list[Item]:
    """What was joined, and whether it came."""
    here = {each.universe for each in light}
    vain = sorted(set(tested.joined) - here)
    items = []
    for expected in (True, False):
        found = [each for each in vain if (each in tested.expected) == expected]
        state = words.FAILED if expected else words.UNTESTED
        items += [Item(state, words.ASKED, words.nothing_came(found, expected))] if found else []
    came = sorted(set(tested.joined) & here)
    return [*items, *([Item(words.PASSED, words.ASKED, words.came(came))] if came else [])]


def _ageing(snapshot: Snapshot, light: Sequence[StreamView], tested: Soaked, numbers: Numbers) -> list[Item]:
    needed = numbers.membership_s + numbers.response_s
    if any(each.vantage == "mirror" for each in snapshot.listening):
        return [Item(words.UNTESTED, words.AGEING, words.MIRROR, vital=True)]
    running = {each.universe for each in light if _runs(each)}
    unasked = running & {each.universe for each in snapshot.groups if each.wanted_here == "not wanted"}
    # What other programs on this laptop asked for counts too.
    since = {each.universe: each.last_join for each in snapshot.groups if each.wanted_here == "wanted"} | {**tested.joined}
    old: set[int] = {universe for universe, at in since.items() if universe and at and snapshot.now - at >= needed * NS}
    stopped = sorted({each.universe for each in light if each.silent and not each.ended} & set(tested.joined))
    known = {*BEHIND["multicast-holds"], "universe-silent", "source-lost"} & {each.code for each in snapshot.alerts}
    items = [Item(words.FAILED, words.AGEING, words.dropped(stopped))] if stopped and not known else []
    if old & running:
        return [*items, Item(words.PASSED, words.AGEING, words.outlived(sorted(old & running), needed))]
    waited = (snapshot.now - tested.begun) / NS
    if unasked and waited >= needed:
        return [*items, Item(words.PASSED, words.AGEING, words.flooded(sorted(unasked)))]
    if not running or stopped:
        return items
    told = words.too_short(waited, needed) if waited < needed else words.NOT_JOINED
    return [*items, Item(words.UNTESTED, words.AGEING, told, vital=True)]


def _queries(snapshot: Snapshot, tested: Soaked, numbers: Numbers) -> list[Item]:
    waited = (snapshot.now - tested.begun) / NS
    needed = numbers.querier_gone_s + numbers.query_interval_s + 2 * numbers.response_s
    who, times = [each.address for each in snapshot.queriers], sum(each.queries for each in snapshot.queriers)
    interval = next((each.interval for each in snapshot.queriers if each.interval), None)
    if times >= 2:
        return [Item(words.PASSED, words.QUERIES, words.queried(who, times, interval))]
    if waited < needed:
        return [Item(words.UNTESTED, words.QUERIES, words.too_short(waited, needed))]
    return [Item(words.UNTESTED, words.QUERIES, words.ONCE if times else words.NOBODY_ASKS)]


# ---- the eleven checks ----


def _checks(snapshot: Snapshot, failed: Collection[str]) -> list[Item]:
    """What no alert stood against."""
    behind = {CHECKS[key][0]: codes for key, codes in BEHIND.items()}
    otherwise = (CHECKS["planned"][0], CHECKS["multicast-holds"][0])
    items = []
    for each in snapshot.checks:
        if each.name in otherwise and each.state != "FINE":
            continue
        if each.state == "FINE" and not set(behind.get(each.name, ())) & set(failed):
            items.append(Item(words.PASSED, each.name, each.text))
        elif each.state in ("NOT YET", "NOT FROM HERE"):
            items.append(Item(words.UNTESTED, each.name, each.text))
    return items
