"""The question before a join, and what it refuses."""

from __future__ import annotations

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netwatch.asking.consent import (
    ANNOUNCED,
    DISCOVERY,
    BadUniverses,
    earlier_run,
    leave_warning,
    listed,
    parse,
    question,
)


@pytest.mark.parametrize(("text", "universes"), [
    ("1-8", (1, 2, 3, 4, 5, 6, 7, 8)), ("7", (7,)), ("1, 5,9", (1, 5, 9)), ("3-4,12,4", (3, 4, 12)), ("63999", (63999,)),
    (" Announced ", ANNOUNCED),
])
def test_universes_are_read(text: str, universes: object) -> None:
    assert parse(text) == universes


@pytest.mark.parametrize(("text", "sentence"), [
    ("0", "There is no universe 0: sACN has universes 1 to 63999."),
    ("64000", "There is no universe 64000: sACN has universes 1 to 63999."),
    ("1-64000", "There is no universe 64000: sACN has universes 1 to 63999."),
    ("8-1", "'8-1' runs backwards: write 1-8."),
    ("", "'' names no universes: write them as 1-8 or 1,5,9, or write 'announced'."),
    ("1-", "'1-' names no universes: write them as 1-8 or 1,5,9, or write 'announced'."),
    ("-3", "'-3' names no universes: write them as 1-8 or 1,5,9, or write 'announced'."),
    ("all", "'all' names no universes: write them as 1-8 or 1,5,9, or write 'announced'."),
    ("²", "'²' names no universes: write them as 1-8 or 1,5,9, or write 'announced'."),
])
def test_what_is_no_universe_is_one_sentence(text: str, sentence: str) -> None:
    """Universe numbers: E1.31-2018 6.2.7, 1 to 63999."""
    with pytest.raises(BadUniverses) as raised:
        parse(text)
    assert str(raised.value) == sentence


@given(st.text(max_size=30))
def test_any_text_is_universes_or_a_sentence(text: str) -> None:
    parsed: object = ()
    with contextlib.suppress(BadUniverses):
        parsed = parse(text)
    assert parsed == ANNOUNCED or all(1 <= each <= 63999 for each in parsed)


def test_the_question_names_universes_cost_and_danger() -> None:
    asked = question(range(1, 9), arriving=(), query_heard=True)
    assert asked.join == tuple(range(1, 9))
    assert asked.sentence == ("Joining universes 1-8 brings up to 2 Mbit/s to this laptop; "
                              "a switch may then stop sending them to devices that never asked for them.")
    assert asked.second is None


def test_the_cost_is_that_of_full_universes_on_the_wire() -> None:
    """E1.31 638 octets over UDP (E1.31-2018 table 4-1), IEEE 802.3: 8 + 14 + 20 + 8 + 638 + 4 + 12 = 704 byte times, at 44 Hz."""
    assert "brings up to 10 Mbit/s" in question(range(1, 41), arriving=(), query_heard=True).sentence
    assert pytest.approx(40 * 704 * 8 * 44 / 1e6, rel=0.01) == 10


def test_until_a_query_was_heard_it_asks_twice() -> None:
    asked = question([3], arriving=(), query_heard=False)
    assert asked.join == (3,)
    assert "Better wait" in str(asked.second)


def test_what_arrives_already_is_never_joined() -> None:
    asked = question([1, 2, 3], arriving={2, 9}, query_heard=True)
    assert (asked.join, asked.arriving) == ((1, 3), (2,))
    nothing = question([2], arriving={2}, query_heard=False)
    assert (nothing.join, nothing.second) == ((), None)
    assert nothing.sentence == "Nothing to join: all of it arrives already."
    assert question([2], arriving=(), joined=[2], query_heard=True).sentence == "Nothing new to join."


def test_on_wifi_the_cost_is_told_for_each_universe() -> None:
    asked = question([1, 2], arriving=(), query_heard=True, kind="wifi")
    assert "takes up to 0.5 Mbit/s of the Wi-Fi that all share (0.25 Mbit/s a universe)" in asked.sentence


def test_a_large_part_of_the_link_is_told() -> None:
    assert "25 Mbit/s to this laptop (25 % of this link)" in question(
        range(1, 101), arriving=(), query_heard=True, speed=100_000_000).sentence


def test_too_many_are_refused() -> None:
    with pytest.raises(BadUniverses, match=r"^That makes 129 universes; at most 128 are joined at once: name fewer\.$"):
        question(range(1, 130), arriving=(), query_heard=True)
    assert len(question(range(1, 130), arriving=[5], query_heard=True).join) == 128
    assert len(question(range(1, 130), arriving=(), query_heard=True, most=200).join) == 129


def test_announced_takes_the_announcements_too() -> None:
    asked = question(ANNOUNCED, arriving=[4], announced=[3, 4, 5], query_heard=True)
    assert asked.join == (3, 5, DISCOVERY)
    assert asked.sentence.startswith("Joining the announcements and universes 3, 5 brings up to 0.5 Mbit/s")
    assert question(ANNOUNCED, arriving=(), query_heard=True).join == (DISCOVERY,)


def test_leaving_in_the_show_is_warned_of() -> None:
    assert str(leave_warning([1, 2], "show")).startswith("Leaving universes 1-2 in the show:")
    assert leave_warning([1, 2], "building") is None
    assert leave_warning([], "show") is None


def test_an_earlier_run_is_felt_for_270_seconds() -> None:
    """RFC 9776 8.4 with default timers."""
    second = 1_000_000_000
    told = str(earlier_run(1_000 * second, 1_043 * second))
    assert told.startswith("An earlier run left its universes 43 s ago: for 227 s more")
    assert earlier_run(1_000 * second, 1_270 * second) is None
    assert earlier_run(None, 5) is None
    assert earlier_run(1_000 * second, 900 * second) is None


def test_universes_are_listed_as_people_write_them() -> None:
    assert listed([7]) == "universe 7"
    assert listed([3, 1, 2, 9]) == "universes 1-3, 9"
    assert listed([DISCOVERY]) == "the announcements"
