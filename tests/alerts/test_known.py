"""A person's word: known, mended. These rules are our own; there is no published source."""

from __future__ import annotations

from typing import Any

import pytest

from netwatch.alerts.alert import Accepted
from netwatch.alerts.rule import NS


def test_what_is_known_stays_known_until_it_gets_worse(story: Any) -> None:
    story.at(0).true("at-once", "rig", severity="tidy").at(1).accept("at-once", "rig").tells(
        "0 opened at-once rig", "1 accepted at-once rig"
    )
    assert story.alert(1).accepted == Accepted(1 * NS, None, "hired like that")
    assert story.at(2).true("at-once", "rig", severity="tidy", certainty="certain").alert(1).accepted is not None
    assert story.at(3).skip().true("at-once", "rig", severity="soon").tells("3 changed at-once rig").alert(1).accepted is None


def test_what_is_known_for_a_time_comes_back_then(story: Any) -> None:
    story.at(0).true("at-once", "rig").at(1).accept("at-once", "rig", until=50).at(100)
    story.tells("0 opened at-once rig", "1 accepted at-once rig", "50 changed at-once rig")
    assert story.alert(1).accepted is None


@pytest.mark.parametrize(("severity", "known"), [("note", True), ("quality", True), ("soon", False)])
def test_what_is_known_and_comes_back_is_known_if_no_worse(story: Any, severity: str, known: bool) -> None:
    story.at(0).true("at-once", "rig").tells("0 opened at-once rig").accept("at-once", "rig").at(5)
    story.false("at-once", "rig").at(60).true("at-once", "rig", severity=severity)
    assert (story.alert(2).accepted is not None) == known


def test_what_comes_back_when_its_time_is_over_is_not_known(story: Any) -> None:
    story.at(0).true("at-once", "rig").skip().accept("at-once", "rig", until=60).at(5).false("at-once", "rig").at(60).skip()
    assert story.true("at-once", "rig").tells("60 opened at-once rig").alert(2).accepted is None


def test_what_is_known_to_one_engine_is_nothing_to_its_copy(story: Any) -> None:
    story.at(0).true("at-once", "rig").skip()
    copy = story.engine.copy()
    story.accept("at-once", "rig")
    story.engine = copy
    assert story.alert(1).accepted is None
    assert story.at(5).false("at-once", "rig").at(60).true("at-once", "rig").alert(2).accepted is None


def test_what_was_mended_is_no_longer_known(story: Any) -> None:
    story.at(0).true("at-once", "rig").skip().accept("at-once", "rig").mend("at-once", "rig").false("at-once", "rig").at(1)
    assert story.true("at-once", "rig").alert(2).accepted is None


def test_what_is_not_open_can_be_neither_accepted_nor_mended(story: Any) -> None:
    story.at(0).true("patient", "rig").accept("patient", "rig").mend("patient", "rig").mend("at-once", "rig").tells()


def test_mended_is_closed_at_once_and_silent_until_it_was_false(story: Any) -> None:
    story.at(0).true("at-once", "rig").at(20).mend("at-once", "rig").tells(
        "0 opened at-once rig", "20 mended at-once rig", "20 closed at-once rig"
    )
    assert story.at(50).true("at-once", "rig", severity="now").at(100).tells().alert(1).closed == 20 * NS
    story.false("at-once", "rig").at(100.25).true("at-once", "rig").tells("100.25 opened at-once rig")
    assert story.alert(2).again == 1


def test_mended_while_easing_closes_as_of_when_it_became_false(story: Any) -> None:
    story.at(0).true("at-once", "rig").at(20).false("at-once", "rig").at(22).mend("at-once", "rig").at(23)
    assert story.alert(1).closed == 20 * NS
    assert story.true("at-once", "rig").alert(2).again == 1


def test_after_mended_coming_and_going_is_counted_anew(story: Any) -> None:
    story.flicker(0, 20, 40).at(60).true("at-once", "rig")
    assert story.alert(3).flapping
    story.at(61).mend("at-once", "rig").false("at-once", "rig").at(62).true("at-once", "rig")
    assert (story.alert(4).flapping, story.alert(4).again) == (False, 3)
