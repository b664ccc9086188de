"""Where each alert stands now: on the top line, under 'later', quiet, known or over. Lists and counts come from here."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from netwatch.story.snapshot import AlertView, Snapshot

SEVERITIES = ("now", "soon", "quality", "tidy", "note")
"""Worst first."""
PLACES = (*SEVERITIES, "later", "quiet", "known", "over")
"""The first five are the top line's; in a show only 'now' is, and notes wait for nothing."""


def place(alert: AlertView, phase: str) -> str:
    """One of ``PLACES``."""
    if alert.closed is not None:
        return "over"
    if alert.accepted is not None:
        return "known"
    if alert.quiet is not None:
        return "quiet"
    if phase == "show" and alert.severity not in ("now", "note"):
        return "later"
    return alert.severity


def standing(snapshot: Snapshot) -> dict[str, int]:
    """How many alerts that no other one explains stand in each place."""
    counts = Counter(place(alert, snapshot.phase) for alert in snapshot.alerts if alert.over is None)
    return {each: counts[each] for each in PLACES}


def in_order(alerts: Iterable[AlertView], phase: str) -> list[AlertView]:
    """What is on top worst and oldest first, then what waits or sank, then known ones, then those that are over, newest first."""
    return sorted(alerts, key=lambda alert: _rank(alert, phase))


def _rank(alert: AlertView, phase: str) -> tuple[int, int, int, int]:
    where = place(alert, phase)
    if where == "over":
        return PLACES.index(where), 0, -(alert.closed or 0), alert.id
    group = 0 if where in SEVERITIES and where != "note" else PLACES.index("later" if where == "note" else where)
    return group, SEVERITIES.index(alert.severity), alert.id, 0
