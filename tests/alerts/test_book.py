"""Alerts that come and go. Ten minutes and the fourth opening are our own choice; there is no published source."""

from __future__ import annotations

from typing import Any

from netwatch.alerts.engine import Engine
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.numbers import DEFAULTS


def test_the_fourth_opening_within_ten_minutes_keeps_the_third_alert_open(story: Any) -> None:
    story.flicker(0, 100, 200, 600)
    story.at(1200.75).tells(
        "0 opened at-once rig", "11 closed at-once rig", "100 opened at-once rig", "111 closed at-once rig",
        "200 opened at-once rig", "211 closed at-once rig", "600 changed at-once rig",
    )  # fmt: skip
    assert (story.alert(3).flapping, story.alert(3).closed, story.alert(3).times) == (True, None, 2)
    story.at(1300).tells("1201 closed at-once rig")
    assert story.alert(3).closed == 601 * NS


def test_the_fourth_opening_later_than_ten_minutes_is_a_new_alert(story: Any) -> None:
    story.flicker(0, 100, 200, 600.25)
    assert (story.alert(4).again, story.alert(4).flapping) == (3, False)


def test_what_comes_and_goes_is_one_alert_for_as_long_as_it_does(story: Any) -> None:
    story.flicker(0, 20, 40, 60, 300, 900, 1500).at(3000)
    assert len(story.engine.alerts()) == 3
    assert (story.alert(3).times, story.alert(3).closed) == (5, 1501 * NS)
    assert story.at(4000).true("at-once", "rig").alert(4).again == 3


def test_what_stays_open_because_it_comes_and_goes_is_brought_up_to_date(story: Any) -> None:
    story.flicker(0, 20, 40).at(60).true("at-once", "rig", severity="now", facts={"share": 3}, numbers=(5, 6, 7))
    alert = story.alert(3)
    assert (alert.severity, alert.facts, alert.numbers, alert.since) == ("now", {"share": 3}, (5, 6, 7), 40 * NS)


def test_what_comes_and_goes_keeps_its_first_packets(story: Any) -> None:
    story.flicker(0, 20).at(40).true("at-once", "rig", numbers=(1, 2, 3)).at(41).false("at-once", "rig")
    assert story.at(60).true("at-once", "rig", numbers=(11, 12, 13, 14)).alert(3).numbers == (1, 2, 11, 12, 13, 14)


def test_an_alert_that_had_to_go_leaves_no_trace(capped: type) -> None:
    story = capped(cap_closed=1)
    story.at(0).true("silent", "a").true("source-lost", "desk").at(5).false("silent", "a").at(30).skip()
    assert story.alert(2).under == (1,)
    story.true("at-once", "rig").at(31).false("at-once", "rig").at(60).skip()
    assert (story.alert(2).under, story.engine.dropped, sorted(story.engine.alerts())) == ((), 1, [2, 3])
    assert story.true("silent", "a").alert(4).again is None


def test_only_so_many_closed_alerts_are_kept() -> None:
    most = int(DEFAULTS.cap_closed)
    engine = Engine({"no-patience-at-end": Rule("no-patience-at-end", until=0)})
    for second in range(most + 3):
        engine.update("no-patience-at-end", 2 * second * NS, [Finding(0, f"host:{second}", "note", "hint", 0)])
        engine.advance(2 * second * NS)
        engine.update("no-patience-at-end", (2 * second + 1) * NS, [])
        engine.advance((2 * second + 1) * NS)
    assert (len(engine.alerts()), min(engine.alerts()), engine.dropped) == (most, 4, 3)
