"""The plan's show times are the phases of the job. Local times by Python's ``datetime``."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from netwatch.plan.expectation import turns
from netwatch.plan.rig import Plan, Show
from netwatch.story.play import Player
from tests.stories.playing import NS, START, picture, play, singly
from tests.stories.script import Event, at, mark, stream

BEGUN = datetime.fromtimestamp(START // NS)


def shows(*spans: tuple[float, float]) -> Plan:
    """Shows from so many seconds of the story to so many."""
    return Plan(shows=tuple(
        Show(begin=BEGUN + timedelta(seconds=begin), end=BEGUN + timedelta(seconds=end)) for begin, end in spans
    ))  # fmt: skip


def changes(player: Player) -> list[tuple[int, str]]:
    """(second of the story, phase)."""
    return [(round((when - START) / NS), phase) for when, phase in player.phases.changes()]


def phased(plan: Plan, heard: list[Event]) -> Player:
    """Played whole and packet by packet, which must agree."""
    events = sorted(heard, key=lambda each: each.time)
    whole, apart = play(events, plan=plan, phase="building"), play(events, plan=plan, phase="building", cut=singly)
    assert replace(picture(whole), revision=0) == replace(picture(apart), revision=0)
    return whole


def test_a_show_begins_and_ends() -> None:
    assert changes(phased(shows((10, 20)), stream(1, hz=4, stop=30))) == [(10, "show"), (20, "building")]
    assert phased(shows((10, 20)), stream(1, hz=4, stop=15)).phase == "show"


def test_who_comes_late_is_in_it() -> None:
    assert phased(shows((-600, 600)), stream(1, hz=4, stop=5)).phase == "show"
    assert phased(shows((-900, -600)), stream(1, hz=4, stop=5)).phase == "building"


def test_silence_ends_no_show_early() -> None:
    assert changes(phased(shows((10, 300)), [*at(0, *(each.frame for each in stream(1, stop=0.1))), *mark(400)])) == [
        (10, "show"), (300, "building"),
    ]  # fmt: skip


def test_what_a_person_says_stands_until_the_next_of_them() -> None:
    heard = [*stream(1, hz=4, stop=30), *mark(15, phase="building")]
    assert changes(phased(shows((10, 20)), heard)) == [(10, "show"), (15, "building")]
    early = [*stream(1, hz=4, stop=30), *mark(5, phase="show")]
    assert changes(phased(shows((10, 20)), early)) == [(5, "show"), (20, "building")]


def test_shows_that_overlap_are_one() -> None:
    assert turns(shows((10, 20), (15, 40), (60, 70))) == [
        (int((BEGUN + timedelta(seconds=second)).timestamp()) * NS, phase)
        for second, phase in ((10, "show"), (40, "building"), (60, "show"), (70, "building"))
    ]
    assert turns(Plan()) == []


