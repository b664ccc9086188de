"""What happened when, drawn to scale."""

from __future__ import annotations

import pytest
from screen_helpers import alert, at, snapshot
from textual.geometry import Size

from netwatch.screens import evening
from netwatch.screens.looks import DARK
from netwatch.story.snapshot import Happening

SIZE = Size(101, 30)
"""40 cells for names, 60 for the line: with 10 minutes, 10 s a cell."""


def told(**more: object) -> list[str]:
    made = evening.rows(snapshot(**{"now": at(600), "alerts": (), "happenings": ()} | more), SIZE, DARK)
    return [line.plain.rstrip() for row in made for line in row.draw()]


def test_the_line_is_drawn_to_scale() -> None:
    lines = told(alerts=(alert(1, "now", since=at(300)), alert(2, "soon", since=at(100), closed=at(200))))
    begin = 41
    assert lines[0][begin:].split() == ["20:00", "20:02", "20:04", "20:06", "20:08"]
    assert lines[0].index("20:04") == begin + 24
    assert lines[1][begin:].index("|") == 59
    bars = {line[:40].strip(): line[begin:] for line in lines[2:4]}
    assert bars["!! Alert number 1"] == " " * 30 + "=" * 29 + ">"
    assert bars["!  Alert number 2"] == " " * 10 + "=" * 11


def test_marks_stand_on_the_line_and_in_the_list() -> None:
    happenings = (Happening(at(60), "opened", "Boathouse went silent", 1), Happening(at(300), "word", "pond dark"))
    lines = told(happenings=happenings)
    assert lines[2].startswith("marks: pond dark")
    assert lines[2].index("^") == 41 + 30
    assert lines[-2:] == ["20:05:00  mark       pond dark", "20:01:00  began      Boathouse went silent"]


@pytest.mark.parametrize(
    ("seconds", "width", "every"), [(10, 60, 2), (600, 60, 120), (3600, 60, 600), (43_200, 60, 7_200), (9, 200, 1)]
)
def test_steps_leave_room_for_their_times(seconds: float, width: int, every: int) -> None:
    assert evening.step(seconds, width) == every


def test_before_anything_happened() -> None:
    assert told(first=None) == ["Nothing has happened so far."]
    assert told()[-1] == "Nothing to tell so far."


def test_a_recorded_story_keeps_its_scale_while_its_time_goes_on() -> None:
    moment = snapshot(now=at(300), alerts=(alert(1, since=at(0)),), happenings=())
    made = evening.rows(moment, SIZE, DARK, (at(0), at(600)))
    bar = next(row.draw()[0].plain for row in made if row.key == ("alert", 1))
    assert bar[41:].rstrip() == "=" * 30 + ">"
