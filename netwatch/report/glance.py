"""The page for a second screen: checks, alerts and first steps at one moment. Read-only, without script, dark."""

from __future__ import annotations

from dataclasses import dataclass

from netwatch.report.html import render
from netwatch.report.times import Times
from netwatch.story.snapshot import AlertView, Snapshot
from netwatch.story.standing import in_order, place, standing
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
    alone = [each for each in in_order(snapshot.alerts, snapshot.phase) if each.over is None]
    shown = [each for each in alone if place(each, snapshot.phase) not in ("known", "over")]
    many = standing(snapshot)
    verdict = ", ".join(f"{many[each]} {SEVERITY[each].word}" for each in ORDER if many[each])
    rest = [words.later(many["later"])] if many["later"] else []
    rest += [words.known(many["known"])] if many["known"] else []
    where = "; ".join(f"{each.interface} ({each.vantage})" for each in snapshot.listening)
    return render(
        "glance.html", words=words, renew=RENEW_S, verdict="; ".join([verdict or words.NO_ALERT, *rest]),
        at=times.clock(snapshot.now),
        facts=(where, f"{snapshot.packets:,} packets, {snapshot.dropped:,} dropped", snapshot.phase),
        alerts=[_told(each, times) for each in shown],
        checks=[(CHECK[each.state].mark, CHECK[each.state].word, each.name, each.text) for each in snapshot.checks],
        grave=bool(many["now"]),
    )  # fmt: skip


def _told(alert: AlertView, times: Times) -> Told:
    shown = SEVERITY[alert.severity]
    return Told(alert.severity, shown.mark, shown.word, alert.title, times.clock(alert.since), alert.first_step)
