"""The whole report as one HTML page."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import tzinfo

from netwatch import words
from netwatch.plan.standing import DIFFERS, EXTRA, MISSING
from netwatch.report.brief import Job, facts, in_short
from netwatch.report.drawing import drawing
from netwatch.report.findings import RANK, loud, why_quiet, worst_first
from netwatch.report.html import render
from netwatch.report.layout import Column
from netwatch.report.marks import open_at
from netwatch.report.masked import hider, masked
from netwatch.report.tables import Part, parts
from netwatch.report.times import Times, lasting
from netwatch.story.evening import Evening
from netwatch.story.snapshot import AlertView, Before, Snapshot
from netwatch.story.spelled import said as spelled
from netwatch.words import changes, phases, plan_compare
from netwatch.words import report as said
from netwatch.words.phrases import listing, plain, start

MOST_MISSING = 60
"""Devices of the plan that are named."""
MOST_ALERTS, MOST_PACKETS, MOST_BEFORE, MOST_FOLDED, MOST_NOTES = 60, 4, 6, 12, 60
"""Alerts in full, packets in words of one alert, changes before it, alerts under it, notes."""


@dataclass(frozen=True, slots=True)
class PacketTold:
    place: str
    at: str
    sentences: Sequence[str]


@dataclass(frozen=True, slots=True)
class Finding:
    """One alert as the template shows it."""

    id: int
    severity: str
    word: str
    meaning: str
    title: str
    when: str
    seen: Sequence[str]
    sure: str
    maybe: Sequence[str]
    before: Sequence[str]
    steps: Sequence[tuple[str, str]]
    later: int | None
    """The first step that waits until after the show."""
    as_for: int | None
    """The alert of the same kind that carries the steps."""
    folded: Sequence[str]
    packets: Sequence[PacketTold]
    rested: str


def page(evening: Evening, job: Job, zone: tzinfo | None = None) -> str:
    """The page; people's own devices without their names, unless ``job.names``."""
    evening = evening if job.names else masked(evening)
    snapshot = evening.snapshot
    times = Times(snapshot.first, zone)
    return render(
        "page.html", title=said.TITLE, after_show=phases.AFTER_SHOW, job=job, facts=facts(evening, job, times),
        short=in_short(snapshot, times),
        drawing=drawing(snapshot, evening.course, zone), step=evening.course.step if evening.course else 0,
        findings=_findings(evening, times), left=max(0, len(loud(worst_first(snapshot))) - MOST_ALERTS),
        marks=_marks(snapshot, times), notes=_notes(snapshot, times), checks=_checks(snapshot), sent=_sent(snapshot, times),
        tables=[*_planned(snapshot), *parts(snapshot, times)],
    )  # fmt: skip


# ---- alerts ----


def _findings(evening: Evening, times: Times) -> list[Finding]:
    hide, by_id = hider(evening.hidden), {alert.id: alert for alert in evening.snapshot.alerts}
    like: dict[str, int] = {}
    out = []
    for alert in loud(worst_first(evening.snapshot))[:MOST_ALERTS]:
        first = like.setdefault(alert.code, alert.id)
        folded = [by_id[each] for each in alert.under if each in by_id]
        out.append(_finding(alert, None if first == alert.id else first, folded, evening, times, hide))
    return out


def _finding(
    alert: AlertView, as_for: int | None, folded: Sequence[AlertView], evening: Evening, times: Times, hide: Callable[[str], str]
) -> Finding:
    shown, kind, certainty = words.SEVERITY[alert.severity], words.of(alert.code), words.CERTAINTY[alert.certainty]
    return Finding(
        alert.id, alert.severity, shown.word, shown.meaning, plain(alert.title), _when(alert, evening.snapshot, times),
        [hide(text) for text in words.seen(alert.code, alert.facts, times.clock)],
        f"{certainty.word}: {kind.sure.get(alert.certainty, certainty.meaning)}.",
        () if as_for is not None else kind.mistaken, _before(alert.before, alert.since),
        () if as_for is not None else alert.steps, _later(alert, evening.snapshot), as_for,
        _folded(folded, times), [_packet(n, alert, evening, times, hide) for n in alert.packets[:MOST_PACKETS]],
        said.rested(alert.packets, MOST_PACKETS),
    )  # fmt: skip


def _when(alert: AlertView, snapshot: Snapshot, times: Times) -> str:
    end = None if alert.closed is None else times.clock(alert.closed)
    span = lasting(alert.since, snapshot.now if alert.closed is None else alert.closed)
    lasted = said.lasted(times.clock(alert.since), end, span, snapshot.live)
    quiet = "" if alert.quiet is None else f" {start(phases.quiet_for(lasting(alert.quiet, snapshot.now)))}."
    return f"{lasted}{quiet} {said.where(alert.times, alert.again, alert.interface, alert.vlan)}"


def _later(alert: AlertView, snapshot: Snapshot) -> int | None:
    return alert.waits.index(True) if snapshot.phase == "show" and True in alert.waits else None


def _before(found: Sequence[Before], at: int) -> list[str]:
    told = [f"{start(changes.when(each.at, at))}: {plain(each.text)}." for each in found[:MOST_BEFORE]]
    left = len(found) - MOST_BEFORE
    return [*told, changes.left_out(left)] if left > 0 else told


def _folded(folded: Sequence[AlertView], times: Times) -> list[str]:
    found = sorted(folded, key=lambda each: (RANK[each.severity], each.since, each.id))
    told = [f"{times.clock(each.since)} {plain(each.title)}" for each in found[:MOST_FOLDED]]
    return [*told, said.more(len(found) - MOST_FOLDED)] if len(found) > MOST_FOLDED else told


def _packet(n: int, alert: AlertView, evening: Evening, times: Times, hide: Callable[[str], str]) -> PacketTold:
    named = start(said.file_packet(n, evening.places.get(n)))
    one = evening.packets.get(n)
    if one is None:
        held = bytes.fromhex(alert.bytes.get(n, ""))
        return PacketTold(named, "", [plain(hide(field.text)) for field in spelled(held)] if held else [said.NOT_KEPT])
    fields = spelled(one.packet(0), one.ports[int(one.port[0])].link_type)
    told = [said.long(int(one.wirelen[0]), int(one.caplen[0])), *(plain(hide(field.text)) for field in fields)]
    return PacketTold(named, times.exact(int(one.time[0])), told)


# ---- the rest ----


def _planned(snapshot: Snapshot) -> list[Part]:
    """What differs from the plan; nothing without one."""
    if snapshot.plan is None:
        return []
    rows = [
        [plain(each.name), plain(each.asset), plain(each.place), plan_compare.HEADS[each.state],
         "; ".join(plan_compare.difference(found) for found in each.differences)]
        for state in (DIFFERS, EXTRA) for each in snapshot.plan.of(state)
    ]  # fmt: skip
    missing = [plain(each.name) for each in snapshot.plan.of(MISSING)]
    if missing:
        rows.append([said.devices(len(missing)), "", "", plan_compare.HEADS[MISSING], listing(missing, MOST_MISSING)])
    columns = [Column(head) for head in said.PLAN_COLUMNS]
    return [Part(said.AGAINST_PLAN, plan_compare.tally(snapshot.plan.counts), columns, rows)]


def _marks(snapshot: Snapshot, times: Times) -> list[tuple[str, str, Sequence[str]]]:
    """(time, word, sentences) of the moments that a person marked."""
    return [
        (times.clock(mark.at), plain(mark.word),
         [*open_at(mark, snapshot), *(_before(mark.before, mark.at) or [phases.NOTHING_BEFORE])])
        for mark in snapshot.marks[:MOST_NOTES]
    ]  # fmt: skip


def _notes(snapshot: Snapshot, times: Times) -> list[str]:
    """Notes, what was left as it is, and marks, by time."""
    lines = [(a.since, _note(a, times)) for a in worst_first(snapshot) if a.severity == "note" or a.accepted is not None]
    lines += [(h.at, said.happened(h.what, h.text)) for h in snapshot.happenings if h.what in said.HAPPENED]
    shown = [f"{times.clock(at)}  {text}" for at, text in sorted(lines)]
    return [*shown[:MOST_NOTES], said.more(len(shown) - MOST_NOTES)] if len(shown) > MOST_NOTES else shown


def _note(alert: AlertView, times: Times) -> str:
    return f"{words.SEVERITY[alert.severity].word}: {plain(alert.title)}{why_quiet(alert, times)}"


def _checks(snapshot: Snapshot) -> list[tuple[str, list[tuple[str, str]]]]:
    """(head, [(check, why)]) by state."""
    out = []
    for head, states in (
        (said.FINE, ("FINE",)),
        (said.WRONG, ("WRONG",)),
        (said.UNSEEN, ("NOT YET", "NOT FROM HERE")),
        (said.UNUSED, ("NOT USED HERE",)),
    ):
        found = [(plain(c.name), said.because(c.text, c.alert)) for c in snapshot.checks if c.state in states]
        if head == said.UNSEEN:
            found += [(start(plain(p.interface)), f"{start(words.VANTAGE[p.vantage].hides)}.") for p in snapshot.listening]
        if found:
            out.append((head, found))
    return out


def _sent(snapshot: Snapshot, times: Times) -> list[str]:
    """What this program sent on request, and what light the laptop itself sent."""
    told = [f"{times.clock(each.at)}  {plain(each.text)}" for each in snapshot.happenings if each.what == "sent"]
    ours = [each for each in snapshot.streams if each.ours]
    if ours:
        told.append(said.ours([f"{words.PROTOCOL[each.protocol]} {each.universe}" for each in ours]))
    return told
