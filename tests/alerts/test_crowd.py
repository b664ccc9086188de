"""More subjects than places. The cap is our own choice; there is no published source."""

from __future__ import annotations

from typing import Any

import pytest


def test_the_subjects_beyond_the_cap_are_one_alert_a_segment(capped: Any) -> None:
    story = capped(2).at(0).true("at-once", "a", "b", "c", "d").true("at-once", "e", segment=1, severity="tidy")
    story.tells("0 opened at-once a", "0 opened at-once and-more", "0 opened at-once b", "0 opened at-once and-more")
    assert [alert.facts for alert in story.engine.alerts().values() if alert.subject == "and-more"] == [{"more": 2}, {"more": 1}]


def test_the_worst_and_oldest_get_the_places(capped: Any) -> None:
    story = capped(2).at(9).true("at-once", "a", since=8).true("at-once", "b", since=7).true("at-once", "c", severity="now")
    story.tells("9 opened at-once and-more", "9 opened at-once b", "9 opened at-once c")


def test_those_that_were_told_keep_their_places_and_the_rest_moves_up(capped: Any) -> None:
    story = capped(1).at(0).true("at-once", "b").at(1).true("at-once", "a", severity="now").at(20)
    story.tells("0 opened at-once b", "1 opened at-once and-more")
    assert story.alert(2).severity == "now"
    story.false("at-once", "b").at(60).tells("30 closed at-once b", "30 opened at-once a", "40 closed at-once and-more")


def test_and_more_gets_worse_with_what_it_stands_for(capped: Any) -> None:
    story = capped(1).at(0).true("at-once", "a", "b", "c").tells("0 opened at-once a", "0 opened at-once and-more")
    story.at(1).true("at-once", "c", severity="soon").tells("1 changed at-once and-more")


def test_only_what_waited_long_enough_counts_as_more(capped: Any) -> None:
    story = capped(1).at(0).true("patient", "a").at(1).true("patient", "b").at(3).true("patient", "c").at(7)
    story.tells("5 opened patient a", "6 opened patient and-more")
    assert story.at(7.75).alert(2).facts == {"more": 1}
    assert story.at(8).alert(2).facts == {"more": 2}


def test_and_more_ends_with_the_last_that_has_no_place_and_comes_back(capped: Any) -> None:
    story = capped(1).at(0).true("no-patience-at-end", "a", "b").at(5).tells(
        "0 opened no-patience-at-end a", "0 opened no-patience-at-end and-more"
    )
    story.false("no-patience-at-end", "b").tells("5 closed no-patience-at-end and-more")
    assert story.at(6).true("no-patience-at-end", "b").alert(3).again == 2


def test_and_more_goes_under_a_cause_only_where_all_it_stands_for_is_covered(capped: Any) -> None:
    for covers, under in ((["a", "b", "c"], ["a", "and-more"]), (["a", "b"], ["a"])):
        story = capped(1).at(0).true("silent", "a", "b", "c").true("source-lost", "desk", facts={"covers": covers})
        assert story.subjects(over="source-lost") == under


def test_causes_beyond_the_cap_still_cover_what_they_cover(capped: Any) -> None:
    story = capped(1).at(0).true("silent", "a").true("source-lost", "desk", facts={"covers": ["x"]})
    story.true("source-lost", "spare", facts={"covers": ["a"]})
    assert story.subjects(over="source-lost") == ["a"]


@pytest.mark.parametrize(
    ("first", "second", "under"), [({"covers": ["x"]}, {"covers": ["y"]}, []), ({"covers": ["x"]}, {}, ["a"]), ({}, {}, ["a"])]
)
def test_causes_beyond_the_cap_cover_no_more_than_they_say(capped: Any, first: Any, second: Any, under: list[str]) -> None:
    story = capped(1).at(0).true("silent", "a").true("source-lost", "desk", facts={"covers": []})
    story.true("source-lost", "one", facts=first).true("source-lost", "two", facts=second)
    assert story.subjects(over="source-lost") == under


def test_an_and_more_that_stands_for_nothing_any_more_goes_under_no_cause_of_some(capped: Any) -> None:
    story = capped(1).at(0).true("silent", "a", "b").at(3).false("silent", "b")
    assert story.at(4).true("source-lost", "desk", facts={"covers": ["a"]}).subjects(over="source-lost") == ["a"]
