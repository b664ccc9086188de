"""The page for a second screen: checks, alerts and first steps at one moment. Read-only, without script, dark."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from netwatch.report.html import render
from netwatch.report.times import Times
from netwatch.story.snapshot import AlertView, Snapshot
from netwatch.words import glance as words
from netwatch.words.shared import CHECK, SEVERITY

ORDER = tuple(SEVERITY)
RENEW_S = 5


@dataclass(frozen=True, slots=True)
class Told:
    """One alert."""

    severity: str
    mark: str
    word: str
    title: str
    since: str
    first: str


def page(snapshot: Snapshot) -> str:
    """The whole page as HTML."""
    times = Times(snapshot.first)
    standing = [each for each in snapshot.alerts if each.closed is None and each.over is None and not each.accepted]
    standing.sort(key=lambda each: (ORDER.index(each.severity), each.id))
    many = Counter(each.severity for each in standing)
    verdict = ", ".join(f"{many[each]} {SEVERITY[each].word}" for each in ORDER if many[each])
    where = "; ".join(f"{each.interface} ({each.vantage})" for each in snapshot.listening)
    return render(
        "glance.html", words=words, renew=RENEW_S, verdict=verdict or words.NO_ALERT, at=times.clock(snapshot.now),
        facts=(where, f"{snapshot.packets:,} packets, {snapshot.dropped:,} dropped", snapshot.phase),
        alerts=[_told(each, times) for each in standing],
        checks=[(CHECK[each.state].mark, CHECK[each.state].word, each.name, each.text) for each in snapshot.checks],
        grave=bool(many["now"]),
    )  # fmt: skip


def _told(alert: AlertView, times: Times) -> Told:
    shown = SEVERITY[alert.severity]
    return Told(alert.severity, shown.mark, shown.word, alert.title, times.clock(alert.since), alert.first_step)
