"""What marks tell of questions; a stranger's file may hold anything."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netwatch.network.asked import MOST_TARGETS, NS, read
from netwatch.story.document import document
from tests.stories.boxes import LAPTOP, POND, SERVER, STRANGER, WALK
from tests.stories.frames import DISCOVER, OFFER, announce, arp, dhcp
from tests.stories.script import Line, at, every, listening, mark, story, stream

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(
        st.sampled_from(["kind", "seconds", "xid", "targets", "x"]), inner, max_size=5
    ),
)  # fmt: skip


@given(JSON)
def test_anything_is_borne(told: Any) -> None:
    found = read(told, 0, 5 * NS)
    assert found is None or (found.at <= found.until <= 605 * NS and len(found.targets) <= MOST_TARGETS)


@given(JSON)
def test_anything_in_a_mark_is_borne(told: Any) -> None:
    assert story(listening(), at(0, announce(POND)), mark(1, asked=told)).packets == 1


def test_a_question_and_its_limits() -> None:
    found = read({"kind": "arp", "seconds": 5, "targets": ["10.0.0.1", "x", 3, "10.0.0.2"] + ["10.0.0.3"] * 2000}, 7, NS)
    assert found is not None
    assert (found.kind, found.at, found.until, found.segment, found.xid) == ("arp", NS, 6 * NS, 7, None)
    assert found.targets[:3] == ("10.0.0.1", "10.0.0.2", "10.0.0.3")
    assert read({"kind": "levels"}, 0, 0) is None


OFFERS = [
    dhcp(
        OFFER, LAPTOP, xid=77, server=SERVER.address, yiaddr="10.0.0.50", mask="255.255.0.0", router="10.0.0.1", lease=60,
        by=SERVER,
    ),
    dhcp(OFFER, LAPTOP, xid=77, server=STRANGER.address, yiaddr="192.168.77.9", mask="255.255.255.0", lease=90, by=STRANGER),
    dhcp(OFFER, WALK, xid=78, server="10.0.0.9", yiaddr="10.0.0.51", mask="255.255.0.0", lease=60, by=POND),
]


def told(*lines: Line) -> list[dict[str, Any]]:
    """The story plays it cut in three ways, which must agree."""
    return list(document(story(listening("mirror"), *lines), ())["asked"])


def test_offers_with_the_questions_own_number_answer_it() -> None:
    """RFC 2131 2: xid is what ties question and answer together."""
    (asked,) = told(
        at(0, announce(WALK)), mark(1, asked={"kind": "dhcp", "xid": 77, "seconds": 5}),
        at(1.1, dhcp(DISCOVER, LAPTOP, xid=77)), at(1.5, *OFFERS), at(9, announce(WALK)),
    )  # fmt: skip
    assert [(each["address"], each["offered"], each["router"], each["lease"]) for each in asked["answers"]] == [
        ("10.0.0.1", "10.0.0.50", "10.0.0.1", 60), ("192.168.77.1", "192.168.77.9", "", 90),
    ]  # fmt: skip


def test_boxes_that_are_heard_first_meanwhile_are_marked() -> None:
    answer = arp(POND, LAPTOP.address, op=2, to=LAPTOP)
    snapshot = story(
        listening("mirror"), at(0, announce(WALK)),
        mark(1, asked={"kind": "arp", "seconds": 5, "targets": ["10.0.0.22", "10.0.0.23"]}), at(1.2, answer),
        every(1, announce(SERVER), start=20, stop=23),
    )  # fmt: skip
    marked = {each.addresses[0]: each.asked_for for each in snapshot.hosts}
    assert marked == {"10.0.0.21": False, "10.0.0.22": True, "10.0.0.1": False}
    (asked,) = snapshot.asked
    assert [each.address for each in asked.answers] == ["10.0.0.22"]
    assert asked.silent == (("10.0.0.23", ""),)


@pytest.mark.parametrize("lines", [[], [stream(1, hz=4, stop=5)]])
def test_without_a_question_there_is_nothing_of_it(lines: list[Line]) -> None:
    assert "asked" not in document(story(at(0, announce(WALK)), *lines), ())
