"""Evening: what happened when, on a line drawn to scale, and below it in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from rich.text import Text
from textual.geometry import Size

from netwatch.screens.columns import nobody
from netwatch.screens.first import families
from netwatch.screens.lines import Row
from netwatch.screens.looks import MARKS, Look
from netwatch.screens.words import NS, cell, clock, cut, flow
from netwatch.story.snapshot import AlertView, Happening, Snapshot

MOST_BARS = 12
"""Alerts with a bar of their own; the list names all."""
STEPS = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1_800, 3_600, 7_200, 14_400, 21_600, 43_200, 86_400)
"""Seconds between two ticks of the scale."""
TICK = 10
"""Cells between two ticks at least, as many as a time of day needs."""
SAID = {
    "opened": "began", "closed": "over", "changed": "changed", "folded": "explained", "unfolded": "by itself",
    "accepted": "known", "mended": "mended", "hole": "hole", "clock-set-back": "clock",
    "listening": "listening", "word": "mark", "sent": "we sent", "phase": "phase", "recording": "recording",
    "laptop": "laptop", "telling": "telling",
}  # fmt: skip
WORD = 10


@dataclass(frozen=True, slots=True)
class Scale:
    """From ns to cells."""

    first: int
    last: int
    width: int

    def cell(self, at: int) -> int:
        """The cell of a moment, the outermost for what lies outside."""
        length = max(self.last - self.first, 1)
        return min(max((at - self.first) * self.width // length, 0), self.width - 1)


def rows(snapshot: Snapshot, size: Size, look: Look, whole: tuple[int, int] | None = None) -> Sequence[Row]:
    """``whole`` = (first, last) of a recorded story: the scale stays while its time goes on."""
    first = snapshot.first if whole is None else whole[0]
    if first is None:
        return [nobody("Nothing has happened so far.", size, look)]
    name = min(max(size.width * 2 // 5, 16), 60)
    scale = Scale(first, max(snapshot.now if whole is None else whole[1], first + NS), max(size.width - name - 1, 8))
    drawn = [_axis(scale, name, snapshot.now, look)]
    drawn += _marks(snapshot.happenings, scale, name, look)
    causes, _ = families(snapshot.alerts, snapshot.phase)
    told = sorted(causes, key=lambda each: (each.since, each.id))[-MOST_BARS:]
    drawn += [_bar(each, scale, snapshot.now, name, look) for each in told]
    listed = [_happening(at, each, size.width, look) for at, each in enumerate(snapshot.happenings)]
    title = cell("What happened, newest first" if listed else "Nothing to tell so far.", size.width, look.faint)
    return [*drawn, Row("gap", lambda: [Text(), title], 2, chosen=False), *reversed(listed)]


def step(seconds: float, width: int) -> int:
    """Seconds between ticks, so that their times of day fit into so many cells."""
    return next((each for each in STEPS if seconds / each * TICK <= width), STEPS[-1])


def _axis(scale: Scale, name: int, now: int, look: Look) -> Row:
    """Times of day above their ticks; the moment that is shown stands as '|'."""
    seconds = (scale.last - scale.first) / NS
    every = step(seconds, scale.width) * NS
    times, ticks = Text(" " * (name + 1)), [" "] * scale.width
    offset = (
        int((datetime.fromtimestamp(scale.first // NS).astimezone().utcoffset() or datetime.resolution * 0).total_seconds()) * NS
    )
    at = -(-(scale.first + offset) // every) * every - offset
    while at <= scale.last:
        place = scale.cell(at)
        label = clock(at) if every < 60 * NS else clock(at)[:5]
        start = name + 1 + place
        if start >= times.cell_len and start + len(label) <= name + 1 + scale.width:
            times.pad_right(start - times.cell_len)
            times.append(label, look.faint)
            ticks[place] = "'"
        at += every
    ticks[scale.cell(now)] = "|"
    line = Text.assemble(cell("the moment that is shown: |", name + 1, look.faint), ("".join(ticks), look.faint))
    return Row("axis", lambda: [cut(times, name + 1 + scale.width), line], 2, chosen=False)


def _marks(happenings: Sequence[Happening], scale: Scale, name: int, look: Look) -> list[Row]:
    """One line for all marks, with the newest one's word in front."""
    words = [each for each in happenings if each.what == "word"]
    if not words:
        return []
    cells = [" "] * scale.width
    for each in words:
        cells[scale.cell(each.at)] = "^"
    text = f"marks: {words[-1].text}" if len(words) == 1 else f"{len(words)} marks, newest: {words[-1].text}"
    return [Row("marks", lambda: [Text.assemble(cell(text, name + 1, look.strong), ("".join(cells), look.strong))], chosen=False)]


def _bar(alert: AlertView, scale: Scale, now: int, name: int, look: Look) -> Row:
    """From when it was true to when it was over; '>' where it still is."""
    first, last = scale.cell(alert.since), scale.cell(alert.closed if alert.closed is not None else now)
    bar = "=" * (last - first) + ("=" if alert.closed is not None else ">")
    style = look.style("faint") if alert.closed is not None or alert.accepted else look.ink(alert.severity)
    label = cell(f"{MARKS[alert.severity]:2} {alert.title}", name, look.text)
    return Row(("alert", alert.id), lambda: [Text.assemble(label, " ", " " * first, (bar, style))])


def _happening(at: int, happening: Happening, width: int, look: Look) -> Row:
    start = Text.assemble(
        cell(clock(happening.at), 8, look.faint), "  ", cell(SAID.get(happening.what, happening.what), WORD, look.strong)
    )
    style = look.strong if happening.what == "word" else look.text
    lines = flow(((happening.text, style),), max(width - start.cell_len - 1, 10))
    blank = Text(" " * start.cell_len)
    return Row(
        ("moment", at, happening.at, happening.alert),
        lambda: [Text.assemble(start if not number else blank, " ", line) for number, line in enumerate(lines)], len(lines),
    )  # fmt: skip
