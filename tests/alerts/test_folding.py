"""Consequences under causes. The order of causes and the five seconds are our own choice; there is no published source."""

from __future__ import annotations

from typing import Any

import pytest

from netwatch.alerts.catalogue import RULES
from netwatch.alerts.engine import Engine
from netwatch.alerts.folding import CAUSES
from netwatch.alerts.rule import Rule


def test_consequences_go_under_a_cause_that_opens_and_later_ones_open_under_it(story: Any) -> None:
    story.at(10).true("silent", "universe:1").tells("10 opened silent universe:1")
    story.at(12).true("source-lost", "source:desk").tells(
        "12 opened source-lost source:desk", "12 folded silent universe:1 under source-lost"
    )
    story.at(60).true("silent", "universe:2").tells(
        "60 opened silent universe:2", "60 folded silent universe:2 under source-lost"
    )
    assert (story.alert(2).under, story.alert(1).over, story.alert(3).over) == ((1, 3), 2, 2)


@pytest.mark.parametrize(("began", "over"), [(4.75, None), (5, 2)])
def test_what_began_more_than_five_seconds_before_the_cause_stands_alone(story: Any, began: float, over: int | None) -> None:
    story.at(began).true("silent", "universe:1").at(20).true("source-lost", "source:desk", since=10)
    assert story.alert(1).over == over


@pytest.mark.parametrize(("began", "over"), [(30, 1), (30.25, None)])
def test_what_begins_after_the_cause_ended_stands_alone(story: Any, began: float, over: int | None) -> None:
    story.at(10).true("source-lost", "source:desk").at(30).false("source-lost", "source:desk")
    assert story.at(began).true("silent", "universe:1").alert(2).over == over


def test_what_is_still_true_comes_up_when_the_cause_closes_first(story: Any) -> None:
    story.at(0).true("source-lost", "source:desk").true("silent", "universe:1", "universe:2", "universe:3").at(20)
    story.at(21).false("silent", "universe:3").at(30).skip()
    story.at(50).false("source-lost", "source:desk").at(55).false("silent", "universe:2").at(60).tells(
        "31 closed silent universe:3", "60 closed source-lost source:desk", "60 unfolded silent universe:1"
    )
    assert story.subjects(over="source-lost") == ["universe:2", "universe:3"]


def test_one_that_was_easing_when_its_cause_closed_comes_up_when_it_is_true_again(story: Any) -> None:
    story.at(0).true("silent", "universe:1").true("source-lost", "source:desk").at(20).false("source-lost", "source:desk")
    story.at(25).false("silent", "universe:1").at(31).skip().true("silent", "universe:1").tells("31 unfolded silent universe:1")


def test_another_network_is_not_explained(story: Any) -> None:
    story.at(0).true("source-lost", "source:desk").true("silent", "universe:1", segment=5)
    assert story.subjects(over=None) == ["universe:1", "source:desk"]


def test_a_cause_that_says_what_it_covers_takes_only_that(story: Any) -> None:
    story.at(0).true("silent", "universe:1", "universe:2").at(1)
    story.true("source-lost", "source:desk", facts={"covers": ["universe:2"]})
    assert story.subjects(over="source-lost") == ["universe:2"]
    story.at(2).true("source-lost", "source:desk", facts={"covers": ["universe:1"]}).tells(
        "2 folded silent universe:1 under source-lost", "2 unfolded silent universe:2"
    )


def test_the_cause_that_comes_first_in_the_order_wins_then_the_one_that_opened_first(story: Any) -> None:
    story.at(0).true("silent", "universe:1").true("aardvark", "rig").true("source-lost", "source:a", "source:b")
    assert story.alert(2).over == story.alert(3).id
    assert story.alert(3).subject == "source:a"
    story.at(1).skip().true("multicast-dropped", "group:1").tells(
        "1 opened multicast-dropped group:1", "1 folded silent universe:1 under multicast-dropped"
    )


def test_a_cause_that_is_itself_explained_takes_its_consequences_along(story: Any) -> None:
    story.at(0).true("silent", "universe:1").true("source-lost", "source:desk").tells(
        "0 opened silent universe:1", "0 opened source-lost source:desk", "0 folded silent universe:1 under source-lost"
    )
    story.at(2).true("loop", "rig").tells(
        "2 opened loop rig", "2 folded silent universe:1 under loop", "2 folded source-lost source:desk under loop"
    )
    assert (story.alert(3).under, story.alert(2).under) == ((1, 2), ())
    story.at(9).false("loop", "rig").at(60).tells(
        "19 closed loop rig", "19 folded silent universe:1 under source-lost", "19 unfolded source-lost source:desk"
    )


def test_what_closed_before_its_cause_was_known_goes_under_it_too(story: Any) -> None:
    story.at(10).true("silent", "universe:1").at(12).false("silent", "universe:1").at(30).skip()
    story.true("multicast-dropped", "group:1", since=11).tells(
        "30 opened multicast-dropped group:1", "30 folded silent universe:1 under multicast-dropped"
    )
    assert story.alert(1).over == 2


def test_what_closed_before_goes_to_the_cause_on_top(story: Any) -> None:
    story.at(10).true("silent", "universe:1").at(12).false("silent", "universe:1").at(30).true("loop", "rig").skip()
    story.true("source-lost", "source:desk", since=10).true("loop", "rig", since=9)
    assert story.subjects(over="loop") == ["universe:1", "source:desk"]


def test_what_closed_under_a_cause_stays_there(story: Any) -> None:
    story.at(10).true("silent", "universe:1").true("source-lost", "source:desk").at(12).false("silent", "universe:1").at(30)
    assert story.true("multicast-dropped", "group:1", since=10).subjects(over="source-lost") == ["universe:1"]


def test_what_closed_and_began_long_before_its_cause_stays_alone(story: Any) -> None:
    story.at(10).true("silent", "universe:1").at(12).false("silent", "universe:1").at(30)
    assert story.true("multicast-dropped", "group:1", since=16).alert(1).over is None


def test_a_mended_cause_lets_go_of_what_is_still_true(story: Any) -> None:
    story.at(0).true("silent", "universe:1").true("source-lost", "source:desk").at(5).skip()
    story.at(6).mend("source-lost", "source:desk").tells(
        "6 mended source-lost source:desk", "6 closed source-lost source:desk", "6 unfolded silent universe:1"
    )


def test_rules_that_explain_each_other_in_a_circle_are_refused() -> None:
    rules = [Rule("hen", explains=("egg",)), Rule("egg", explains=("hen",))]
    with pytest.raises(ValueError, match="in a circle"):
        Engine({rule.code: rule for rule in rules})


def test_every_cause_and_every_consequence_is_an_alert_that_exists() -> None:
    assert all(RULES[code].explains for code in CAUSES)
    named = {consequence for rule in RULES.values() for consequence in rule.explains}
    assert named <= RULES.keys()
