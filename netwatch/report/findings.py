"""The alerts as text: worst first, each with what was seen, how sure, what else it could be, and what to do."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from netwatch import words
from netwatch.story.snapshot import AlertView, Snapshot
from netwatch.story.standing import standing
from netwatch.words import changes, phases
from netwatch.words.phrases import count, listing, start

from .layout import Line, hang, wrap
from .times import Times, lasting

MARGIN = 10
RANK = {severity: rank for rank, severity in enumerate(words.SEVERITY)}
"""0 is worst."""
MOST_SHORT, MOST_TITLES, MOST_FOLDED, MOST_NOTES, MOST_BEFORE = 6, 12, 6, 12, 4
"""Of one code: told without the steps, by title only; under one cause; notes in all; changes before one."""


def worst_first(snapshot: Snapshot) -> list[AlertView]:
    """The alerts that no other one explains: by severity, then open before over, then by time."""
    known = {alert.id for alert in snapshot.alerts}
    top = (a for a in snapshot.alerts if a.over not in known)
    return sorted(top, key=lambda a: (RANK[a.severity], a.closed is not None, a.since, a.id))


def loud(alerts: Iterable[AlertView]) -> list[AlertView]:
    """Those that want something done: neither notes nor marked as known."""
    return [a for a in alerts if a.severity != "note" and a.accepted is None]


def findings(snapshot: Snapshot, times: Times, width: int) -> list[Line]:
    """All alerts; those of one code share one list of steps."""
    alerts = worst_first(snapshot)
    by_id = {alert.id: alert for alert in snapshot.alerts}
    lines: list[Line] = []
    told: dict[str, list[AlertView]] = {}
    for alert in loud(alerts):
        before = told.setdefault(alert.code, [])
        before.append(alert)
        if len(before) > MOST_SHORT + MOST_TITLES:
            continue
        lines += _titled(alert, width)
        if len(before) <= MOST_SHORT:
            folded = [by_id[i] for i in alert.under if i in by_id]
            lines += [Line(text) for text in _details(alert, before[0], folded, snapshot, times, width)]
            lines.append(Line(""))
    lines += _left_out(told, width)
    return lines + _quiet([a for a in alerts if a.severity == "note" or a.accepted is not None], times, width)


def summary(snapshot: Snapshot) -> str:
    """'Found: 1 NOW (the show stops or is about to), 2 SOON (will fail later).'; '' where nothing is loud."""
    alerts = loud(worst_first(snapshot))
    if not alerts:
        return ""
    tally = Counter(alert.severity for alert in alerts)
    parts = [f"{tally[s]} {shown.word} ({shown.meaning})" for s, shown in words.SEVERITY.items() if tally[s]]
    over = sum(alert.closed is not None for alert in alerts)
    ended = f" {count(over, 'of them is', 'of them are')} over by now." if over else ""
    if over == len(alerts):
        ended = " It is over by now." if over == 1 else " All of them are over by now."
    return f"Found: {', '.join(parts)}.{ended}{known(snapshot)}"


def known(snapshot: Snapshot) -> str:
    """' 2 alerts are known and left be.'; '' where none is."""
    number = standing(snapshot)["known"]
    return f" {count(number, 'alert is', 'alerts are')} known and left be." if number else ""


def _titled(alert: AlertView, width: int) -> list[Line]:
    shown = words.SEVERITY[alert.severity]
    return [Line(text, alert.severity) for text in hang(f"{shown.mark:2} {shown.word}", alert.title, width, MARGIN)]


def _details(
    alert: AlertView, like: AlertView, folded: Sequence[AlertView], snapshot: Snapshot, times: Times, width: int
) -> list[str]:
    """``like`` is the first alert of this code, which carries the steps."""
    said = words.of(alert.code)
    seen = " ".join(words.seen(alert.code, alert.facts, times.clock))
    lines = hang("   When", _when(alert, snapshot, times), width, MARGIN) + _before(alert, width)
    lines += hang("   Where", f"{'; '.join(alert.places)}.", width, MARGIN) if alert.places else []
    if seen or alert.packets:
        lines += hang("   Seen", f"{seen} {_evidence(alert)}", width, MARGIN)
    certainty = words.CERTAINTY[alert.certainty]
    lines += hang("   Sure", f"{certainty.word}: {said.sure.get(alert.certainty, certainty.meaning)}.", width, MARGIN)
    if alert is not like:
        lines += hang("   Do", f"As for alert {like.id} above.", width, MARGIN)
    else:
        lines += hang("   Maybe", f"Or else it is {'; or '.join(said.mistaken)}.", width, MARGIN) if said.mistaken else []
        lines += _steps(alert, width, snapshot.phase)
    return lines + _folded(folded, times, width)


def _before(alert: AlertView, width: int) -> list[str]:
    """What changed just before, nearest first."""
    lines: list[str] = []
    for i, change in enumerate(alert.before[:MOST_BEFORE]):
        text = f"{start(changes.when(change.at, alert.since))}: {change.text}."
        lines += hang("" if i else "   Before", text, width, MARGIN)
    if len(alert.before) > MOST_BEFORE:
        lines += hang("", changes.left_out(len(alert.before) - MOST_BEFORE), width, MARGIN)
    return lines


def _when(alert: AlertView, snapshot: Snapshot, times: Times) -> str:
    if alert.closed is None:
        so_far = "so far" if snapshot.live else "to the end"
        when = f"Since {times.clock(alert.since)}, {lasting(alert.since, snapshot.now)} {so_far}."
    else:
        when = f"{times.clock(alert.since)} to {times.clock(alert.closed)}, {lasting(alert.since, alert.closed)}. Over."
    often = f" It came {count(alert.times, 'time', 'times')}." if alert.times > 1 else ""
    again = f" It was there before, as alert {alert.again}." if alert.again is not None else ""
    vlan = f", VLAN {alert.vlan}" if alert.vlan is not None else ""
    quiet = "" if alert.quiet is None else f" {start(phases.quiet_for(lasting(alert.quiet, snapshot.now)))}."
    return f"{when}{quiet}{often}{again} Alert {alert.id}, on {alert.interface}{vlan}."


def _evidence(alert: AlertView) -> str:
    if not alert.packets:
        return ""
    return f"It rests on {'packet' if len(alert.packets) == 1 else 'packets'} {listing(map(str, alert.packets), 8)}."


def _steps(alert: AlertView, width: int, phase: str) -> list[str]:
    lines: list[str] = []
    first_later = alert.waits.index(True) + 1 if phase == "show" and True in alert.waits else 0
    for i, (text, disturbs) in enumerate(alert.steps, 1):
        if i == first_later:
            lines += hang("" if lines else "   Do", f"{phases.AFTER_SHOW}:", width, MARGIN)
        quiet = disturbs == words.NOTHING
        first = hang(f"{i}.", text + (" (Disturbs nothing.)" if quiet else ""), width - MARGIN, 3)
        rest = [] if quiet else hang("", f"Disturbs: {disturbs}.", width - MARGIN, 3)
        lines += [("   Do" if not lines and not j else "").ljust(MARGIN) + line for j, line in enumerate(first + rest)]
    return lines


def _folded(folded: Sequence[AlertView], times: Times, width: int) -> list[str]:
    """One entry for each alert that this one explains."""
    lines: list[str] = []
    for i, alert in enumerate(sorted(folded, key=lambda a: (RANK[a.severity], a.since, a.id))[:MOST_FOLDED]):
        text = f"{words.SEVERITY[alert.severity].mark} {times.clock(alert.since)} {alert.title}"
        lines += hang("" if i else "   Hence", text, width, MARGIN)
    if len(folded) > MOST_FOLDED:
        lines += hang("", f"and {len(folded) - MOST_FOLDED} more", width, MARGIN)
    return lines


def _left_out(told: dict[str, list[AlertView]], width: int) -> list[Line]:
    many = {code: len(alerts) - MOST_SHORT - MOST_TITLES for code, alerts in told.items()}
    lines = [Line(text) for code, left in many.items() if left > 0 for text in wrap(f"and {left} more of {code}", width)]
    by_title = any(len(alerts) > MOST_SHORT for alerts in told.values())
    return [*lines, Line("")] if lines or by_title else []


def _quiet(alerts: Sequence[AlertView], times: Times, width: int) -> list[Line]:
    """Notes, and what somebody marked as known: a line each."""
    if not alerts:
        return []
    lines = [Line("FOR THE RECORD", "head")]
    for alert in alerts[:MOST_NOTES]:
        mark = words.SEVERITY[alert.severity].mark
        lines += [Line(t) for t in hang(mark, f"{times.clock(alert.since)} {alert.title}{why_quiet(alert, times)}", width, 3)]
    if len(alerts) > MOST_NOTES:
        lines.append(Line(f"   and {len(alerts) - MOST_NOTES} more"))
    return [*lines, Line("")]


def why_quiet(alert: AlertView, times: Times) -> str:
    """Who left it be, or why it is only a note."""
    if alert.accepted is not None:
        until = alert.accepted.get("until")
        return f" ({phases.known(alert.accepted.get('why'), None if until is None else times.clock(until))})"
    louder = str(alert.facts.get("in_a_show"))
    return f" ({phases.in_a_show(louder)})" if louder in words.SEVERITY else ""
