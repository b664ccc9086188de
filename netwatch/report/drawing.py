"""The session drawn to scale as SVG: alerts as bars, marks, how each universe ran, rate and loss.

Everything is computed here; the templates only place it. Units are SVG units, 1,000 across.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, tzinfo

from netwatch import words
from netwatch.report.findings import loud, worst_first
from netwatch.story.course import CourseView, Run
from netwatch.story.snapshot import Happening, Snapshot, StreamView
from netwatch.words import report as said
from netwatch.words.phrases import name, number, share, universes

NS = 1_000_000_000
LEFT, RIGHT = 190, 990
"""Where time begins and ends."""
ROW, STRIP, RATE_HEIGHT = 16, 9, 70
LETTER = 4.9
"""Mean width of a title's letters."""
MOST_ALERTS, MOST_STRIPS, MOST_MARKS = 14, 96, 24
TICKS = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1_800, 3_600, 7_200, 14_400, 21_600, 43_200, 86_400)
"""Seconds between two ticks of the scale."""
MOST_TICKS = 10
RATES = (5.0, 20.0)
"""Packets a second: below the first a stream repeats itself, from the second on it runs fully (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Box:
    x: float
    y: float
    width: float
    height: float
    style: str
    text: str = ""
    """What it stands for."""


@dataclass(frozen=True, slots=True)
class Text:
    x: float
    y: float
    text: str
    style: str = ""


@dataclass(slots=True)
class Drawing:
    """All that the template draws; it grows downwards."""

    first: int
    last: int
    height: float = 0
    boxes: list[Box] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)
    ticks: list[tuple[float, str]] = field(default_factory=list)
    marks: list[tuple[float, str]] = field(default_factory=list)
    """Lines from top to bottom."""
    areas: list[tuple[str, str]] = field(default_factory=list)
    """(points, style)."""

    def x(self, at: int) -> float:
        """Where a moment lies."""
        span = max(self.last - self.first, 1)
        return round(LEFT + (RIGHT - LEFT) * (min(max(at, self.first), self.last) - self.first) / span, 1)

    def box(self, begin: int, end: int, y: float, height: float, style: str, text: str = "") -> None:
        """A box over a span of time, at least as wide as can be seen."""
        left = self.x(begin)
        self.boxes.append(Box(left, y, round(max(self.x(end) - left, 1.5), 1), height, style, text))


def drawing(snapshot: Snapshot, course: CourseView | None, zone: tzinfo | None) -> Drawing | None:
    """None where nothing was heard."""
    if snapshot.first is None:
        return None
    made = Drawing(snapshot.first, max(snapshot.now, snapshot.first + NS))
    made.ticks = [(made.x(at), text) for at, text in scale(made.first, made.last, zone)]
    made.height = 18
    _holes(made, snapshot.happenings)
    _marks(made, snapshot.happenings)
    _alerts(made, snapshot)
    if course is not None:
        _strips(made, course, snapshot.streams)
        _rate(made, course)
    return made


def scale(first: int, last: int, zone: tzinfo | None) -> list[tuple[int, str]]:
    """Round moments of local time between the two, at most ten, with their texts."""
    seconds = (last - first) / NS
    step = next((each for each in TICKS if seconds / each <= MOST_TICKS), TICKS[-1])
    offset = datetime.fromtimestamp(first // NS, zone).astimezone(zone).utcoffset()
    shift = int(offset.total_seconds()) if offset is not None else 0
    begin = -(-(first // NS + shift) // step) * step - shift
    form = "%H:%M:%S" if step < 60 else "%H:%M" if seconds < 86_400 else "%a %H:%M"
    moments = range(begin, last // NS + 1, step)
    return [(at * NS, datetime.fromtimestamp(at, zone).strftime(form)) for at in moments]


def _holes(made: Drawing, happenings: Iterable[Happening]) -> None:
    """Nothing was recorded there; drawn first, so that all else lies above."""
    for line in happenings:
        if line.what == "hole":
            made.marks.append((made.x(line.at), "hole"))


def _marks(made: Drawing, happenings: Sequence[Happening]) -> None:
    found = [line for line in happenings if line.what in ("word", "phase", "clock-set-back", "hole")]
    if not found:
        return
    made.texts.append(Text(0, made.height + 11, "Marks", "lane"))
    ends = -1.0
    for line in found[:MOST_MARKS]:
        x = made.x(line.at)
        made.marks.append((x, "mark"))
        label = name(line.text, "mark")
        if x < ends:
            made.height += ROW - 2
        ends = x + 6 * len(label) + 8
        anchored = "end" if x > RIGHT - 150 else ""
        made.texts.append(Text(x - 3 if anchored else x + 3, made.height + 11, label, f"mark {anchored}"))
    made.height += ROW + 4


def _alerts(made: Drawing, snapshot: Snapshot) -> None:
    alerts = loud(worst_first(snapshot))
    for alert in alerts[:MOST_ALERTS]:
        shown = words.SEVERITY[alert.severity]
        end = snapshot.now if alert.closed is None else alert.closed
        made.texts.append(Text(0, made.height + 11, f"{shown.word}  alert {alert.id}", f"lane {alert.severity}"))
        made.box(alert.since, end, made.height + 2, ROW - 4, f"bar {alert.severity}", alert.title)
        made.texts.append(_beside(made, alert.since, end, made.height + 11, alert.title))
        made.height += ROW
    if len(alerts) > MOST_ALERTS:
        made.texts.append(Text(0, made.height + 11, said.more(len(alerts) - MOST_ALERTS), "lane"))
        made.height += ROW
    made.height += 8 if alerts else 0


def _beside(made: Drawing, begin: int, end: int, y: float, title: str) -> Text:
    """A bar's title: in it, right of it, or left of it, wherever there is most room."""
    left, right = made.x(begin), made.x(end)
    rooms = {"inside": right - left, "": RIGHT - right, "end": left - LEFT}
    where = max(rooms, key=lambda each: (rooms[each] >= LETTER * len(title) + 8, each == "inside", rooms[each]))
    most = int((rooms[where] - 8) / LETTER)
    shown = title if len(title) <= most else f"{title[: max(most - 3, 0)]}..." if most > 8 else ""
    return Text({"inside": left + 4, "": right + 4, "end": left - 4}[where], y, shown, f"title {where}")


# ---- streams ----


def _strips(made: Drawing, course: CourseView, streams: Sequence[StreamView]) -> None:
    """A strip a stream, under the name of its source; a missing colour is silence."""
    names = {
        (each.interface, each.vlan, each.protocol, each.universe, each.source): each.name or each.address for each in streams
    }
    groups: dict[tuple[str, str], list[Run]] = {}
    for run in course.runs:
        place = (run.interface, run.vlan, run.protocol, run.universe, run.source)
        groups.setdefault((names.get(place, said.OTHERS), run.protocol), []).append(run)
    left = MOST_STRIPS
    for (source, protocol), runs in groups.items():
        runs = sorted(runs, key=lambda each: each.universe)[:left]
        if not runs:
            break
        label = (
            f"{name(source, said.OTHERS)}: {words.PROTOCOL[protocol]} {universes([each.universe for each in runs], protocol, 2)}"
        )
        made.texts.append(Text(0, made.height + 10, label.replace(f"{words.PROTOCOL[protocol]} Art-Net", "Art-Net"), "lane wide"))
        made.height += ROW
        for run in runs:
            made.texts.append(Text(LEFT - 8, made.height + STRIP - 1.5, str(run.universe), "small end"))
            _strip(made, course, run)
            made.height += STRIP
        left -= len(runs)
        made.height += 5


def _strip(made: Drawing, course: CourseView, run: Run) -> None:
    """Neighbouring steps of one look are one box."""
    looks = [_look(packets, lost, course.step) for packets, lost in zip(run.packets, run.lost, strict=True)]
    begin = 0
    for at in range(1, len(looks) + 1):
        if at < len(looks) and looks[at] == looks[begin]:
            continue
        if looks[begin]:
            made.box(course.first + begin * course.step, course.first + at * course.step, made.height, STRIP - 2, looks[begin])
        begin = at


def _look(packets: int, lost: int, step: int) -> str:
    if not packets:
        return ""
    if lost * 100 > packets:
        return "strip lost"
    rate = packets * NS / step
    return "strip low" if rate < RATES[0] else "strip middle" if rate < RATES[1] else "strip full"


def _rate(made: Drawing, course: CourseView) -> None:
    """All light together, packets a second; below it, what was lost."""
    sent = [sum(each) for each in zip(*(run.packets for run in course.runs), strict=True)]
    lost = [sum(each) for each in zip(*(run.lost for run in course.runs), strict=True)]
    rates = [each * NS / course.step for each in sent]
    top = max(rates, default=0.0)
    if not top:
        return
    made.height += 6
    floor = made.height + RATE_HEIGHT
    points = [f"{made.x(course.first)},{floor}"]
    for at, rate in enumerate(rates):
        y = round(floor - (RATE_HEIGHT - 4) * rate / top, 1)
        begin, end = (made.x(course.first + place * course.step) for place in (at, at + 1))
        points += [f"{begin},{y}", f"{end},{y}"]
    points.append(f"{made.x(course.first + len(rates) * course.step)},{floor}")
    made.areas.append((" ".join(points), "rate"))
    made.texts += [
        Text(0, made.height + 11, said.RATE, "lane"),
        Text(LEFT - 8, made.height + 11, number(top), "small end"),
        Text(LEFT - 8, floor, "0", "small end"),
    ]
    made.height = floor + 4
    worst = max((gone / (gone + came) for gone, came in zip(lost, sent, strict=True) if gone), default=0.0)
    made.texts.append(Text(0, made.height + 11, f"{said.LOSS}: {f'up to {share(worst)}' if worst else 'none'}", "lane"))
    for at, (gone, came) in enumerate(zip(lost, sent, strict=True)):
        if gone:
            height = round(max(1.5, 12 * gone / (gone + came) / worst), 1)
            begin = course.first + at * course.step
            made.box(begin, begin + course.step, made.height + 14 - height, height, "strip lost")
    made.height += ROW + 2
