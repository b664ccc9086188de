"""The life of alerts: waiting, open, easing, closed. Its rules are our own; there is no published source."""

from __future__ import annotations

from typing import Any

import pytest

from netwatch.alerts.rule import NS, Finding


def test_opens_at_once_where_the_rule_needs_no_patience(story: Any) -> None:
    story.at(1).true("at-once", "rig").tells("1 opened at-once rig")


def test_opens_when_it_was_true_for_long_enough(story: Any) -> None:
    story.at(1).true("patient", "rig").tells().at(5.75).tells().at(20).tells("6 opened patient rig")
    assert (story.alert(1).since, story.alert(1).opened) == (1 * NS, 6 * NS)


def test_opens_at_once_where_the_capture_says_that_it_is_true_for_long(story: Any) -> None:
    story.at(10).true("patient", "rig", since=2).tells("10 opened patient rig")
    assert story.alert(1).since == 2 * NS


def test_a_finding_that_learns_of_an_earlier_beginning_opens_earlier(story: Any) -> None:
    story.at(10).true("patient", "rig").tells().at(11).true("patient", "rig", since=7).at(20).tells("12 opened patient rig")


def test_an_open_alert_may_turn_out_to_have_begun_earlier(story: Any) -> None:
    story.at(10).true("at-once", "rig").at(11).true("at-once", "rig", since=7)
    assert (story.alert(1).since, story.alert(1).opened) == (7 * NS, 10 * NS)


def test_waiting_goes_on_where_a_later_finding_says_a_later_beginning(story: Any) -> None:
    story.at(0).true("patient", "rig").at(4).true("patient", "rig", since=4).at(9).tells("5 opened patient rig")


def test_a_beginning_in_the_future_counts_as_now(story: Any) -> None:
    assert story.at(1).true("at-once", "rig", since=9).tells("1 opened at-once rig").alert(1).since == 1 * NS


def test_what_was_not_true_for_long_enough_is_never_told(story: Any) -> None:
    story.at(0).true("patient", "rig").at(5).false("patient", "rig").at(60).tells()


def test_closes_as_of_when_it_became_false_but_tells_it_later(story: Any) -> None:
    story.at(0).true("at-once", "rig").at(30).false("at-once", "rig")
    story.at(39.75).tells("0 opened at-once rig").at(60).tells("40 closed at-once rig")
    assert (story.alert(1).closed, story.alert(1).last) == (30 * NS, 30 * NS)


def test_closes_at_once_where_the_rule_needs_no_patience(story: Any) -> None:
    story.at(0).true("no-patience-at-end", "rig").tells("0 opened no-patience-at-end rig")
    story.at(3).false("no-patience-at-end", "rig").tells("3 closed no-patience-at-end rig")


@pytest.mark.parametrize("pause", [0.25, 5, 10])
def test_true_again_while_easing_is_the_same_alert(story: Any, pause: float) -> None:
    story.at(0).true("at-once", "rig").at(30).false("at-once", "rig").at(30 + pause).true("at-once", "rig")
    assert story.at(100).tells("0 opened at-once rig").alert(1).times == 2
    assert (story.alert(1).since, story.alert(1).closed, story.alert(1).last) == (0, None, 100 * NS)


def test_true_again_after_closing_is_a_new_alert_that_knows_the_old_one(story: Any) -> None:
    story.at(0).true("at-once", "rig").at(5).false("at-once", "rig").at(15.25).true("at-once", "rig")
    story.tells("0 opened at-once rig", "15 closed at-once rig", "15.25 opened at-once rig")
    assert (story.alert(1).again, story.alert(2).again, story.alert(2).times) == (None, 1, 1)


def test_ids_follow_the_time_of_opening_and_then_code_segment_and_subject(story: Any) -> None:
    story.at(0).true("silent", "universe:2").true("silent", "universe:1").true("silent", "universe:3", segment=-1)
    story.true("at-once", "rig").tells(
        "0 opened at-once rig", "0 opened silent universe:3", "0 opened silent universe:1", "0 opened silent universe:2"
    )


def test_open_alerts_stay_open_at_the_end_and_were_last_true_then(story: Any) -> None:
    engine = story.at(0).true("at-once", "rig").tells("0 opened at-once rig").engine
    assert engine.alerts(77 * NS)[1].last == 77 * NS
    assert engine.alerts()[1].last == 0


def test_severity_and_certainty_rise_and_never_fall(story: Any) -> None:
    story.at(0).true("at-once", "rig", severity="tidy", certainty="hint").tells("0 opened at-once rig")
    story.at(1).true("at-once", "rig", severity="soon", certainty="hint").tells("1 changed at-once rig")
    story.at(2).true("at-once", "rig", severity="note", certainty="certain").tells("2 changed at-once rig")
    story.at(3).true("at-once", "rig", severity="note", certainty="hint").tells()
    assert (story.alert(1).severity, story.alert(1).certainty) == ("soon", "certain")


def test_what_an_alert_was_while_waiting_does_not_count(story: Any) -> None:
    story.at(0).true("patient", "rig", severity="now").at(3).true("patient", "rig", severity="tidy").at(9)
    assert story.alert(1).severity == "tidy"


def test_a_new_alert_starts_with_its_own_severity(story: Any) -> None:
    story.at(0).true("at-once", "rig", severity="now").at(1).false("at-once", "rig")
    assert story.at(60).true("at-once", "rig", severity="note").alert(2).severity == "note"


def test_an_alert_about_the_laptop_is_never_now(story: Any) -> None:
    story.at(0).true("laptop", "port:desk", severity="now")
    assert story.alert(1).severity == "soon"


@pytest.mark.parametrize(
    ("one", "other", "stands"),
    [
        (("now", "hint", 2), ("note", "certain", 1), ("now", "hint", 2)),
        (("soon", "hint", 1), ("soon", "certain", 2), ("soon", "certain", 2)),
        (("soon", "hint", 1), ("soon", "hint", 2), ("soon", "hint", 1)),
    ],
)
def test_of_two_findings_about_the_same_the_worse_stands(story: Any, one: Any, other: Any, stands: Any) -> None:
    story.at(5).engine.update("at-once", 5, [Finding(0, "rig", *one), Finding(0, "rig", *other)])
    alert = story.alert(1)
    assert (alert.severity, alert.certainty, alert.since) == stands


def test_facts_are_the_newest_ones(story: Any) -> None:
    story.at(0).true("at-once", "rig", facts={"share": 1}).at(1)
    assert story.true("at-once", "rig", facts={"share": 2}).alert(1).facts == {"share": 2}


def test_evidence_is_two_first_three_at_opening_and_three_newest(story: Any) -> None:
    story.at(0).true("patient", "rig", numbers=(1, 2, 3)).at(5).true("patient", "rig", numbers=(1, 2, 50, 51, 52))
    assert story.alert(1).numbers == (1, 2, 50, 51, 52)
    story.at(9).true("patient", "rig", numbers=(7, 90, 91, 92))
    assert story.alert(1).numbers == (1, 2, 50, 51, 52, 90, 91, 92)


def test_evidence_that_a_rule_chose_itself_is_kept_whole(story: Any) -> None:
    chosen = (1, 2, 10, 11, 12, 20, 21, 22)
    assert story.at(0).true("at-once", "rig", numbers=chosen).alert(1).numbers == chosen


def test_after_a_hole_waiting_starts_anew(story: Any) -> None:
    story.at(0).true("patient", "rig").at(4).hole(1).at(20).tells("9 opened patient rig")
    assert story.alert(1).since == 0


def test_after_a_hole_an_old_beginning_does_not_open_at_once(story: Any) -> None:
    story.at(100).hole(60).true("patient", "rig", since=30).at(120).tells("105 opened patient rig")


def test_easing_does_not_count_the_hole(story: Any) -> None:
    story.at(0).true("at-once", "rig").at(20).false("at-once", "rig").at(24)
    story.now = 3600 * NS
    story.hole(3575).at(3700).tells("0 opened at-once rig", "3605 closed at-once rig")
    assert story.alert(1).closed == 20 * NS


def test_the_driver_learns_what_is_due_when_and_which_rules_matter(story: Any) -> None:
    story.at(0).true("patient", "a").at(1).true("patient", "b").true("dropped", "c").true("at-once", "rig")
    story.tells("1 opened at-once rig")
    engine = story.engine
    assert (engine.deadline(), engine.deadlines()) == (4 * NS, {"patient": 5 * NS, "dropped": 4 * NS})
    assert engine.live() == {"patient", "dropped", "at-once"}
    story.at(2).false("patient", "a", "b").false("dropped", "c").false("at-once", "rig").tells()
    assert (engine.deadline(), engine.deadlines(), engine.live()) == (12 * NS, {}, {"at-once"})
    story.at(12).tells("12 closed at-once rig")
    assert (engine.deadline(), engine.live()) == (None, frozenset())


def test_time_never_goes_back(story: Any) -> None:
    engine = story.at(5).true("at-once", "rig").tells("5 opened at-once rig").engine
    with pytest.raises(ValueError, match="back in time"):
        engine.advance(4 * NS)
