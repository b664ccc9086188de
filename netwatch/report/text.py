"""The whole story as text for people: what was read and from where, what is wrong, what to do, what could not be seen."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo

from netwatch import words
from netwatch.packets.batch import FileSeen
from netwatch.settings import changed
from netwatch.story.snapshot import Check, Snapshot
from netwatch.words.phases import PHASE
from netwatch.words.phrases import count, listing, number, plain, size, start, with_mask

from .findings import findings, known, summary
from .layout import Line, hang, painted, wrap
from .marks import marks
from .planned import planned
from .tables import tables
from .times import Times

NARROWEST = 40
MARGIN = 10
MOST = 6
"""Entries of one kind in the head."""


def render(
    snapshot: Snapshot, files: Sequence[FileSeen], *, colour: bool = False, width: int = 80, zone: tzinfo | None = None
) -> str:
    """Lines of at most ``width`` cells (40 at least), each ended by a newline. ``zone`` None = the laptop's own time."""
    width = max(width, NARROWEST)
    times = Times(snapshot.first, zone)
    lines = [Line(text) for label, text in head(snapshot, files, times) for text in hang(label, text, width, MARGIN)]
    lines += [Line(""), *_verdict(snapshot, files, width), Line("")]
    if snapshot.packets:
        lines += findings(snapshot, times, width) + marks(snapshot, times, width)
        lines += _checks(snapshot.checks, width) + planned(snapshot.plan, width) + tables(snapshot, times, width)
    while lines and not lines[-1].text:
        lines.pop()
    return painted(lines, colour)


def distrust(snapshot: Snapshot, files: Sequence[FileSeen]) -> list[str]:
    """Why the view is not whole; nothing where it is."""
    dropped = f"{count(snapshot.dropped, 'packet was', 'packets were')} dropped before being recorded"
    full = [e for e in snapshot.limits if e.refused or e.evicted]
    return [
        *([dropped] if snapshot.dropped else []),
        *(plain(f.problem).rstrip(".") for f in files if f.problem),
        *(f"table of {plain(e.table)} full at {number(e.cap)}, {number(e.refused + e.evicted)} not kept" for e in full),
        *(plain(a.title) + (" (over)" if a.closed is not None else "") for a in snapshot.alerts if a.doubtful),
    ]


def head(snapshot: Snapshot, files: Sequence[FileSeen], times: Times) -> list[tuple[str, str]]:
    """(label, text): what was read, from where, and how far to trust it."""
    lines = [("Read", f"{count(snapshot.packets, 'packet', 'packets')} ({size(snapshot.bytes)}){_sources(files)}.")]
    if snapshot.first is not None and snapshot.last is not None:
        lines.append(("Time", times.span(snapshot.first, snapshot.last) + "."))
    lines += [("Where" if not i else "", text) for i, text in enumerate(_places(snapshot))]
    problems = distrust(snapshot, files)
    if problems:
        lines.append(("Trust", f"Limited. {start('. '.join(problems))}."))
    elif snapshot.packets:
        lines.append(("Trust", "Good. No packet is known to be dropped, no file was cut short."))
    lines += _happened(snapshot, times)
    lines.append(("Phase", phase(snapshot, times)))
    if snapshot.undecoded:
        worst = sorted(snapshot.undecoded.items(), key=lambda item: (-item[1], item[0]))
        reasons = listing([f"{plain(reason)}: {number(n)}" for reason, n in worst], MOST)
        lines.append(("Unread", f"{count(sum(snapshot.undecoded.values()), 'packet', 'packets')}. {reasons}."))
    if snapshot.settings:
        told = [str(change) for change in changed(snapshot.settings)]
        lines.append(("Settings", f"Changed by hand: {listing(told, MOST)}."))
    return lines


def phase(snapshot: Snapshot, times: Times) -> str:
    """'Building: ... From 19:30:00 show: ...': each phase that there was, with what it means."""
    if snapshot.phases:
        changes = [f"from {times.clock(at)} {each}" for at, each in snapshot.phases]
        return f"{start(listing(changes, MOST))}. {start(snapshot.phase)}: {PHASE[snapshot.phase]}."
    return f"{start(snapshot.phase)}: {PHASE[snapshot.phase]}."


def _sources(files: Sequence[FileSeen]) -> str:
    if not files:
        return ""
    many = f"{number(len(files))} files: " if len(files) > 1 else ""
    return f" from {many}{listing([plain(f.name) for f in files], MOST)}"


def _places(snapshot: Snapshot) -> list[str]:
    texts: list[str] = []
    for port in snapshot.listening[:MOST]:
        place = words.VANTAGE[port.vantage]
        why = f" ({'; '.join(plain(r) for r in port.reasons)})" if port.reasons else ""
        own = f" This laptop has {listing([with_mask(a) for a in port.addresses], 2)}." if port.addresses else ""
        link = f" Link {plain(port.link)}." if port.link else ""
        texts.append(f"{plain(port.interface)}: {place.name}{why}.{own}{link} Not seen here: {place.hides}.")
    left = len(snapshot.listening) - MOST
    return [*texts, f"and {left} more"] if left > 0 else texts


def _happened(snapshot: Snapshot, times: Times) -> list[tuple[str, str]]:
    """Holes and set-back clocks, and what this program sent."""
    gaps = [h for h in snapshot.happenings if h.what.startswith(("hole", "clock"))]
    sent = [h for h in snapshot.happenings if h.what == "sent"]
    lines = [
        (label, listing([f"{times.clock(h.at)} {plain(h.text)}" for h in found], MOST) + ".")
        for label, found in (("Gaps", gaps), ("Sent", sent))
        if found
    ]
    return lines if sent or not snapshot.live else [*lines, ("Sent", "Nothing: listening changes nothing on the network.")]


def _verdict(snapshot: Snapshot, files: Sequence[FileSeen], width: int) -> list[Line]:
    if not snapshot.packets:
        return [Line(t, "head") for t in wrap("Nothing was heard: there are no packets, so nothing can be said.", width)]
    found = summary(snapshot)
    unseen = [f"'{plain(c.name)}'" for c in snapshot.checks if c.state in ("NOT FROM HERE", "NOT YET")]
    nothing = f"Nothing wrong was found in what can be seen from here.{known(snapshot)}"
    lines = [Line(t, "head") for t in wrap(found or nothing, width)]
    if not found and distrust(snapshot, files):
        lines += [Line(t) for t in wrap("But the view is limited: see Trust above.", width)]
    if unseen:
        lines += [Line(t) for t in wrap(f"Could not be checked: {listing(unseen, 11)} (reasons below).", width)]
    return lines


def _checks(checks: Sequence[Check], width: int) -> list[Line]:
    """In their own order, in which one makes the next worth asking."""
    if not checks:
        return []
    lines = [Line("CHECKED, ONE AFTER THE OTHER", "head")]
    for check in checks:
        shown = words.CHECK[check.state]
        # The alert's title, which is the text of a wrong one, stands above already.
        text = check.text if check.alert is None else f"See alert {check.alert}."
        lines += [Line(t) for t in hang(f"{shown.mark:1} {shown.word:13}", f"{check.name}. {text}", width, 17)]
    return [*lines, Line("")]
