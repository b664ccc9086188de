"""A person's word: known, mended. These rules are our own; there is no published source."""

from __future__ import annotations

from typing import Any

import pytest

from netwatch.alerts.alert import Accepted
from netwatch.alerts.rule import NS
from netwatch.numbers import DEFAULTS


def test_what_is_known_stays_known_until_it_gets_worse(story: Any) -> None:
    story.at(0).true("at-once", "rig", severity="tidy").at(1).accept("at-once", "rig").tells(
        "0 opened at-once rig", "1 accepted at-once rig"
    )
    assert story.alert(1).accepted == Accepted(1 * NS, None, "hired like that", "tidy")
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


def test_what_got_worse_and_comes_back_as_it_was_is_still_known(story: Any) -> None:
    story.at(0).true("at-once", "rig", severity="tidy").skip().accept("at-once", "rig").at(1).true(
        "at-once", "rig", severity="now"
    )
    assert story.alert(1).accepted is None
    story.at(2).false("at-once", "rig").at(60).true("at-once", "rig", severity="tidy")
    assert story.alert(2).accepted is not None


def test_one_server_more_is_worse_and_one_less_is_not(story: Any) -> None:
    story.at(0).true("many", "rig", facts={"servers": ["a", "b"]}).skip().accept("many", "rig").skip()
    assert story.at(1).true("many", "rig", facts={"servers": ["b"]}).alert(1).accepted is not None
    story.at(2).true("many", "rig", facts={"servers": ["b", "c"]}).tells("2 changed many rig")
    assert story.alert(1).accepted is None


def test_what_is_known_beforehand_is_known_when_it_comes(story: Any) -> None:
    story.at(0).accept("at-once", "rig", worst="quality", where="").accept("patient", "rig", worst="quality", where="1")
    story.true("at-once", "rig", "desk").true("patient", "rig").true("patient", "rig", segment=1).at(6).skip()
    known = {(alert.code, alert.segment, alert.subject) for alert in story.engine.alerts().values() if alert.accepted}
    assert known == {("at-once", 0, "rig"), ("patient", 1, "rig")}


def test_known_beforehand_up_to_a_severity(story: Any) -> None:
    story.at(0).accept("at-once", "rig", worst="soon", where="").true("at-once", "rig", severity="tidy").skip()
    assert story.at(1).true("at-once", "rig", severity="soon").alert(1).accepted is not None
    assert story.at(2).true("at-once", "rig", severity="now").alert(1).accepted is None


def test_known_is_taken_back(story: Any) -> None:
    story.at(0).true("at-once", "rig").skip().accept("at-once", "rig").skip()
    story.at(1).heed("at-once", "rig").tells("1 changed at-once rig").heed("at-once", "rig").tells()
    assert story.alert(1).accepted is None


def test_only_so_much_is_known(story: Any) -> None:
    for number in range(DEFAULTS.cap_known + 3):
        story.accept("at-once", f"host:{number}")
    known = [left.subject for left in story.engine.known()]
    assert (len(known), known[0]) == (DEFAULTS.cap_known, "host:3")


def test_what_was_mended_is_no_longer_known(story: Any) -> None:
    story.at(0).true("at-once", "rig").skip().accept("at-once", "rig").mend("at-once", "rig").false("at-once", "rig").at(1)
    assert story.true("at-once", "rig").alert(2).accepted is None


def test_what_is_not_open_can_be_neither_accepted_nor_mended(story: Any) -> None:
    story.at(0).true("patient", "rig").accept("patient", "rig").mend("patient", "rig").mend("at-once", "rig").tells()


def test_mended_is_closed_at_once_and_told_again_when_it_comes_again(story: Any) -> None:
    story.at(0).true("at-once", "rig").at(20).mend("at-once", "rig").tells(
        "0 opened at-once rig", "20 mended at-once rig", "20 closed at-once rig"
    )
    story.at(30).false("at-once", "rig").at(30.25).true("at-once", "rig").tells("30.25 opened at-once rig")
    assert (story.alert(1).closed, story.alert(2).again) == (20 * NS, 1)


def test_a_state_that_just_stays_after_mended_is_told_again_after_a_minute(story: Any) -> None:
    story.at(0).true("at-once", "rig").at(20).mend("at-once", "rig").skip()
    story.at(79.75).true("at-once", "rig", certainty="certain").tells().at(100).tells("80 opened at-once rig")
    assert story.alert(2).again == 1


def test_a_hole_in_the_recording_is_no_time_to_mend(story: Any) -> None:
    story.at(0).true("at-once", "rig").at(20).mend("at-once", "rig").skip()
    story.at(70).hole(30).at(105).tells().at(120).tells("110 opened at-once rig")


def test_what_got_worse_after_mended_is_told_at_once(story: Any) -> None:
    story.at(0).true("at-once", "rig").at(20).mend("at-once", "rig").skip()
    story.at(25).true("at-once", "rig", severity="now").tells("25 opened at-once rig")


def test_what_shows_itself_now_and_then_is_told_again_on_a_new_sign_only(story: Any) -> None:
    """It stays true for as long as its memory goes; that alone is no news after 'mended'."""
    story.at(0).true("at-once", "rig", sign=1).at(20).mend("at-once", "rig").skip()
    story.at(500).true("at-once", "rig", sign=1, certainty="certain").tells().at(600).tells()
    story.true("at-once", "rig", sign=600 * NS).tells("600 opened at-once rig")
    assert (story.alert(2).again, story.alert(2).sign) == (1, 600 * NS)


def test_mended_while_easing_closes_as_of_when_it_became_false(story: Any) -> None:
    story.at(0).true("at-once", "rig").at(20).false("at-once", "rig").at(22).mend("at-once", "rig").at(23)
    assert story.alert(1).closed == 20 * NS
    assert story.true("at-once", "rig").alert(2).again == 1


def test_after_mended_coming_and_going_is_counted_anew(story: Any) -> None:
    story.flicker(0, 20, 40).at(60).true("at-once", "rig")
    assert story.alert(3).flapping
    story.at(61).mend("at-once", "rig").false("at-once", "rig").at(62).true("at-once", "rig")
    assert (story.alert(4).flapping, story.alert(4).again) == (False, 3)
