"""Words of the phases, and of what a person said: known, mended, marks."""

from __future__ import annotations

from collections.abc import Mapping

from .phrases import count, plain
from .shared import SEVERITY

PHASE: Mapping[str, str] = {
    "building": "while the rig is put up, what is lost is a note until it has run for 5 minutes or the plan expects it",
    "show": "only what stops the show is on top; what restarts something waits until after it",
}
"""What each phase means."""
AFTER_SHOW = "After the show, or when whoever calls it agrees"
"""Stands above the steps that wait."""
NO_REASON = "no reason given"
NO_ALERT = "No alert was open at that moment."
NOTHING_BEFORE = "Nothing is known to have changed in the two minutes before."


def known(why: object, until: str | None) -> str:
    """'known, leave it today: hired like that'; ``until`` None = for this job."""
    return f"known, leave it {'for this job' if until is None else f'until {until}'}: {plain(why or NO_REASON)}"


def in_a_show(severity: str) -> str:
    """Of a note that is one only because the rig is put up."""
    return f"in a show this is {SEVERITY[severity].word}" if severity in SEVERITY else ""


def quiet_for(length: str) -> str:
    """'quiet for 6 min'."""
    return f"quiet for {length}"


def open_then(severity: str, title: str, alert: int) -> str:
    """'Open then: SOON, two DHCP servers ... (alert 3)': one alert that was true at a mark."""
    return f"Open then: {SEVERITY[severity].word}, {plain(title)} (alert {alert})."


def more_open(left: int) -> str:
    return f"And {count(left, 'more alert was', 'more alerts were')} open then."
