"""The first screen: the eleven checks, and below them the alerts, worst first, with the first step in the same line."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from rich.text import Text
from textual.geometry import Size

from netwatch.screens.lines import Row
from netwatch.screens.looks import CANT_SAY, MARKS, WORDS, Look
from netwatch.screens.words import cell, clock, count, cut, flow, safe, span
from netwatch.story.snapshot import AlertView, Check, Snapshot
from netwatch.story.standing import in_order, place, standing
from netwatch.words.phases import quiet_for

FOLDED_SHOWN = 3
"""Alerts shown under their cause; its page names them all."""
STATE, NAME, TIME = len("NOT USED HERE"), len("This laptop can be trusted"), len("21:40:12")
LEFT = len("!! quality  ")
NARROW, WIDE, TALL = 50, 110, 36
"""Cells from which on the checks' names stand in a column, and also times and texts; lines from which on no text is cut."""
GAP = "   "
LEAST = 20
"""With less room behind the title, the first step gets a line of its own."""


def rows(snapshot: Snapshot, size: Size, look: Look) -> list[Row]:
    """Checks, a heading, alerts: open ones worst first, each with what it explains; known ones; those that are over."""
    checks = [_check(check, snapshot, size, look) for check in snapshot.checks]
    alerts = _alerts(snapshot, size.width, look)
    heading = [
        cell(
            f"Alerts, worst first ({len(snapshot.alerts)}). Enter opens one" if alerts else "No alert so far",
            size.width,
            look.faint,
        )
    ]
    if size.height >= TALL:
        heading.insert(0, Text())
    return [*checks, Row("heading", lambda: heading, len(heading), chosen=False), *alerts]


# ---- checks ----


def check_mark(check: Check, alerts: Sequence[AlertView]) -> tuple[str, str]:
    """The mark of a check's state and the name of its style: no mark where it is fine, '?' where we can't say."""
    if check.state == "WRONG":
        severity = next((alert.severity for alert in alerts if alert.id == check.alert), "soon")
        return MARKS[severity], severity
    if check.state in ("NOT YET", "NOT FROM HERE"):
        return CANT_SAY, "strong"
    return "", "text" if check.state == "FINE" else "faint"


def _check(check: Check, snapshot: Snapshot, size: Size, look: Look) -> Row:
    mark, style = check_mark(check, snapshot.alerts)
    name_style = look.strong if check.state == "WRONG" else look.text
    tells = look.faint if check.state in ("FINE", "NOT USED HERE") else look.text
    start = Text.assemble((f"{mark:2} {check.state}", look.style(style)))
    start.pad_right(STATE + 5 - start.cell_len if size.width >= NARROW else 2)
    pieces: tuple[tuple[str, str], ...] = ((f"{check.name}: ", name_style), (check.text, tells))
    if size.width >= WIDE:
        start.append(f"{check.name:{NAME}}  ", name_style)
        pieces = pieces[1:]
    room = size.width - start.cell_len
    lines = flow(pieces, room) if size.height >= TALL and room >= LEAST else ()

    def draw() -> list[Text]:
        if not lines:
            whole = Text.assemble(start, *((safe(piece), style) for piece, style in pieces))
            if whole.cell_len > size.width and check.state == "FINE" and size.width < WIDE:
                whole = Text.assemble(start, (check.name, name_style))  # half a sentence about what is fine gets in the way
            return [cut(whole, size.width)]
        starts = [start, *[Text(" " * start.cell_len)] * (len(lines) - 1)]
        return [Text.assemble(before, line) for before, line in zip(starts, lines, strict=True)]

    return Row(("check", check.name), draw, max(len(lines), 1))


# ---- alerts ----


def _alerts(snapshot: Snapshot, width: int, look: Look) -> list[Row]:
    causes, under = families(snapshot.alerts, snapshot.phase)
    found = []
    later = standing(snapshot)["later"]
    for cause in causes:
        if later and place(cause, snapshot.phase) == "later":
            found.append(_later(later, width, look))
            later = 0
        found.append(_alert(cause, snapshot.now, width, look))
        found += [_folded(alert, snapshot.now, width, look) for alert in under[cause.id][:FOLDED_SHOWN]]
        more = len(under[cause.id]) - FOLDED_SHOWN
        if more > 0:
            found.append(_more(cause, more, width, look))
    return found


def families(alerts: Sequence[AlertView], phase: str = "building") -> tuple[list[AlertView], dict[int, list[AlertView]]]:
    """Alerts that stand alone in the order of the screen, and by their id those that they explain."""
    by_id = {alert.id: alert for alert in alerts}
    alone, under = [], defaultdict(list)
    for alert in in_order(alerts, phase):
        cause = None if alert.over is None else by_id.get(alert.over)
        if cause is None or (cause.closed is not None and alert.closed is None):
            alone.append(alert)
        else:
            under[cause.id].append(alert)
    return alone, under


def _later(number: int, width: int, look: Look) -> Row:
    text = f"Later ({number}): these wait until there is time"
    return Row("later", lambda: [cell(text, width, look.faint)], chosen=False)


def _title(alert: AlertView, now: int) -> str:
    """The title with what qualifies it: 'A went silent: universes 1-24 (likely, 3 times)'."""
    notes = [] if alert.certainty == "certain" else [{"likely": "likely", "hint": "a hint"}[alert.certainty]]
    notes += [count(alert.times, "time")] if alert.times > 1 else []
    notes += [quiet_for(span(now - alert.quiet, coarse=True))] if alert.quiet is not None else []
    notes += [f"over since {clock(alert.closed)}"] if alert.closed is not None else []
    return alert.title + (f" ({', '.join(notes)})" if notes else "")


def _badge(alert: AlertView, look: Look) -> Text:
    """Mark and word of an alert in LEFT cells."""
    quiet = "over" if alert.closed is not None else "known" if alert.accepted else "quiet" if alert.quiet is not None else ""
    style = look.faint if quiet else getattr(look, alert.severity)
    mark = MARKS[alert.severity] if alert.closed is None else ""
    badge = Text.assemble((f"{mark:2} {quiet or WORDS[alert.severity]}", style))
    badge.pad_right(LEFT - badge.cell_len)
    return badge


def _alert(alert: AlertView, now: int, width: int, look: Look) -> Row:
    quiet = alert.closed is not None or bool(alert.accepted) or alert.quiet is not None
    wide = width >= WIDE
    left = LEFT + (TIME + 2 if wide else 0)
    title_style = look.strong if alert.severity in ("now", "soon") else look.text
    step = f"First: {alert.first_step}" if alert.first_step and alert.closed is None else ""
    title_style, step_style = (look.faint, look.faint) if quiet else (title_style, look.text)
    lines = _fitted((_title(alert, now), title_style), (step, step_style), width - left)

    def draw() -> list[Text]:
        badge, since = _badge(alert, look), cell(clock(alert.since), TIME, look.faint)
        starts = [Text.assemble(badge, since, "  ")] if wide else [badge, Text.assemble("   ", since, " ")]
        starts += [Text(" " * left)] * len(lines)
        return [Text.assemble(start, line) for start, line in zip(starts, lines, strict=False)]

    return Row(("alert", alert.id), draw, len(lines))


def _fitted(title: tuple[str, str], step: tuple[str, str], room: int) -> list[Text]:
    """The title whole; the step behind it or below it, as far as two lines reach, or one below a longer title."""
    alone = list(flow((title,), room))
    if not step[0]:
        return alone
    behind = room - alone[-1].cell_len - len(GAP) >= min(LEAST, len(step[0]))
    lines = list(flow((title, (GAP, ""), step), room)) if behind else alone + list(flow((step,), room))
    keep = max(2, len(alone) + (0 if behind else 1))
    if len(lines) > keep:
        lines[keep - 1] = cut(Text.assemble(lines[keep - 1], " ", lines[keep]), room)
    return lines[:keep]


def _folded(alert: AlertView, now: int, width: int, look: Look) -> Row:
    def draw() -> list[Text]:
        style = look.faint if alert.closed is not None else look.text
        return [Text.assemble("   ", _badge(alert, look), cell(_title(alert, now), width - 3 - LEFT, style))]

    return Row(("alert", alert.id), draw)


def _more(cause: AlertView, more: int, width: int, look: Look) -> Row:
    text = f"{' ' * (3 + LEFT)}and {more} more because of it (Enter shows all)"
    return Row(("more", cause.id), lambda: [cell(text, width, look.faint)])
