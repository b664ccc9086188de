"""How streams ran, in steps. Sums are checked against what was sent; the laws are the project's own (no outside source)."""

from __future__ import annotations

from collections import Counter
from random import Random

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from netwatch.story import course
from netwatch.story.course import BUCKET, CourseView, course_of
from netwatch.story.play import Player
from tests.stories.playing import NS, START, Cut, Event, Heard, cut_at, items, play, singly
from tests.stories.rigs import PORTS, damaged, rig
from tests.stories.script import stream

SEEDS = st.integers(0, 1 << 32)


def shown(player: Player) -> CourseView | None:
    assert player.clock.now is not None
    return player.course.view(player.network, player.clock.now)


def test_each_step_holds_what_was_sent_in_it() -> None:
    heard = [*stream(1, hz=40, stop=35), *stream(2, hz=5, start=12, stop=20)]
    view = shown(play(sorted(heard, key=lambda each: each.time)))
    assert view is not None
    assert view.step == 10 * NS
    for run in view.runs:
        mine = stream(1, hz=40, stop=35) if run.universe == 1 else stream(2, hz=5, start=12, stop=20)
        sent = Counter((each.time - view.first) // view.step for each in mine)
        assert dict(enumerate(run.packets)) == {at: sent[at] for at in range(len(run.packets))}
        assert not any(run.lost)


def test_a_loss_stands_in_its_step() -> None:
    view = shown(play(stream(1, hz=40, stop=30, lose=range(600, 640))))
    assert view is not None
    at = (START + 15 * NS - view.first) // view.step
    assert [step for step, lost in enumerate(view.runs[0].lost) if lost] == [at]


def test_steps_are_merged_when_there_are_too_many(monkeypatch: pytest.MonkeyPatch) -> None:
    heard = stream(1, hz=2, stop=300)
    monkeypatch.setattr(course, "MOST_STEPS", 8)
    view = shown(play(heard))
    assert view is not None
    assert view.step == 40 * NS
    assert len(view.runs[0].packets) <= 8
    sent = Counter((each.time - view.first) // view.step for each in heard)
    assert list(view.runs[0].packets) == [sent[at] for at in range(len(view.runs[0].packets))]


def test_streams_beyond_the_cap_are_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(course, "MOST_STREAMS", 3)
    heard = [event for universe in range(1, 6) for event in stream(universe, hz=2, stop=25)]
    view = shown(play(sorted(heard, key=lambda each: each.time)))
    assert view is not None
    assert (len(view.runs), view.left_out) == (3, 2)


def written_down(events: list[Event], cut: Cut) -> CourseView | None:
    """The course as whoever takes the minutes away can put it together again."""
    player = Player(play([]).numbers)
    player.course.minutes = []
    taken = []
    for item in items(events, PORTS, cut):
        player.feed(item)
        taken += player.course.minutes
        player.course.minutes.clear()
    player.finish()
    taken += player.course.minutes
    if player.clock.now is not None:
        taken.append(player.course.open_minute(player.network, player.clock.now))
    return course_of(taken)


@given(seed=SEEDS)
@example(seed=500_000)  # ends right after a hole in time
@settings(max_examples=12, deadline=None)
def test_cuts_change_nothing_and_the_minutes_tell_the_same(seed: int) -> None:
    events = rig(seed) if seed % 2 else damaged(rig(seed), seed)
    random = Random(seed)
    cut = cut_at({random.randrange(len(events)) for _ in range(30)})
    whole = shown(play(events, PORTS))
    assert shown(play(events, PORTS, cut=cut)) == whole
    down = written_down(events, singly)
    if whole is None or down is None:
        assert (down is None) == (whole is None)
        return
    assert down == written_down(events, cut)
    if whole.step == down.step:
        assert Counter(total(down)) == Counter(total(whole))


def total(view: CourseView) -> dict[tuple[object, ...], int]:
    """Packets of each stream."""
    return {
        (run.interface, run.vlan, run.protocol, run.universe, run.source): sum(run.packets)
        for run in view.runs
        if any(run.packets)
    }


def test_a_hole_of_days_takes_no_more_memory() -> None:
    later = [Heard(each.time + 5 * 86_400 * NS, each.frame) for each in stream(1, hz=2, stop=25)]
    view = shown(play([*stream(1, hz=2, stop=25), *later]))
    assert view is not None
    assert view.step % BUCKET == 0
    assert len(view.runs[0].packets) <= course.MOST_STEPS
    assert sum(view.runs[0].packets) == 100
