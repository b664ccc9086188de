"""A band above everything for a new alert at 'now'. Nothing flashes; at night it is larger, not brighter."""

from __future__ import annotations

from rich.text import Text

from netwatch.screens.looks import MARKS, WORDS, Look
from netwatch.screens.words import cell, cut, flow
from netwatch.story.snapshot import AlertView, Snapshot
from netwatch.story.standing import place

KEYS = "n opens it, Esc puts this away"


def standing(snapshot: Snapshot) -> list[AlertView]:
    """Open alerts at 'now' that stand by themselves, oldest first."""
    return [
        each for each in snapshot.alerts if each.over is None and place(each, snapshot.phase) == "now"
    ]  # fmt: skip


def lines(alert: AlertView, many: int, width: int, look: Look) -> list[Text]:
    """One line, two where the title is long, at night three."""
    more = f" (and {many - 1} more)" if many > 1 else ""
    room = max(width - 2, 1)
    said = f"{MARKS['now']} {WORDS['now']}  {alert.title}{more}"
    if look.name == "night":
        return [cell("", room, look.now), cell(said, room, look.now), cell(KEYS, room, look.now)]
    keys = f"   {KEYS}"
    if len(said) + len(keys) <= room:
        return [cell(f"{said}{keys}", room, look.now)]
    first, *rest = flow(((said, look.now),), room)
    second = " ".join(line.plain for line in rest)
    shown = f"{cut(Text(second), room - len(keys)).plain}{keys}"
    return [cell(first.plain, room, look.now), cell(shown, room, look.now)]
