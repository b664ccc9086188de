"""Stories of who sources say they are, and of their lists (E1.31-2018, clauses beside).

Times and counts without a clause are common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import pytest

from tests.stories import frames
from tests.stories.acn_frames import discovery, sync
from tests.stories.boxes import BACKUP, DESK, LAPTOP, ORCHARD, POND, WALK, Box
from tests.stories.playing import Event, Heard
from tests.stories.script import at, every, expect, expect_silent, listening, ns, source, story
from tests.stories.script import stream as full_stream

stream = partial(full_stream, hz=10)
"""Short stories: what is told here doesn't hang on the rate."""
MIRROR, ORDINARY = listening("mirror", laptop=None), listening("ordinary")


def beat(address: int, who: Box = DESK, stop: float = 20, start: float = 0, hz: float = 4) -> list[Event]:
    """Synchronization at a steady rate."""
    return [Heard(ns(start + i / hz + 0.005), sync(who, address, i)) for i in range(int((stop - start) * hz))]


# ---- S13 (5.6) ----

TWIN = DESK.card("02:00:00:00:01:11").at("10.0.0.111")


def test_a_copied_machine():
    story(
        MIRROR,
        stream(1, DESK, stop=40),
        stream(1, TWIN, stop=40, first=100),
        expect(
            "cid-cloned",
            subject=source(DESK),
            severity="now",
            certainty="certain",
            closed=None,
            facts={"addresses": [DESK.address, TWIN.address], "machines": 2, "zero": False},
        ),
    )


def test_a_copied_machine_on_another_universe_seen_from_an_ordinary_port():
    named = stream(2, TWIN, stop=40, first=100, name="mill pond B")
    story(ORDINARY, stream(1, DESK, stop=40), named, expect("cid-cloned", severity="soon", certainty="likely"))


def test_an_identity_of_zeros():
    nobody = [
        Heard(each.time, each.frame[:64] + bytes(16) + each.frame[80:])
        for each in stream(1, DESK, stop=40)
        if isinstance(each, Heard)
    ]
    story(
        MIRROR,
        nobody,
        expect("cid-cloned", subject="source:" + 32 * "0", severity="soon", certainty="certain", facts={"zero": True}),
    )


def test_one_desk_on_two_networks_is_a_note():
    story(
        MIRROR,
        stream(1, DESK, stop=40),
        stream(1, TWIN, start=0.002, stop=40),
        expect("cid-cloned", severity="note", facts={"two_networks": True}),
        expect_silent(),
    )


def test_a_new_address_and_copies_to_several_nodes():
    """By unicast each node may get a stream of its own numbers (6.7.2 names source, type and universe)."""
    moved = replace(DESK, address="10.0.0.55")
    story(
        MIRROR,
        stream(1, DESK, stop=20),
        stream(1, moved, start=20.1, stop=60, first=3),
        stream(2, WALK, stop=60, to=ORCHARD),
        stream(2, WALK, stop=60, to=POND, first=90),
        expect_silent("cid-cloned"),
    )


# ---- S14 (8, 6.7.1.1) ----


def lists(who: Box, universes: tuple[int, ...], stop: float = 100) -> list[Event]:
    return every(10, discovery(who, universes), start=1, stop=stop)


def test_a_universe_that_is_not_listed():
    story(
        MIRROR,
        stream(1, DESK, hz=5, stop=100),
        stream(2, DESK, hz=5, stop=100),
        lists(DESK, (1,)),
        expect(
            "discovery-mismatch", subject=source(DESK), severity="note", certainty="certain", facts={"unlisted": [2], "empty": []}
        ),
        expect_silent(),
    )


def test_a_listed_universe_that_carries_nothing_seen_from_an_ordinary_port():
    asked = [frames.report(LAPTOP, frames.universe_group(number)) for number in (1, 7)]
    story(
        ORDINARY,
        at(0.1, frames.query(), *asked),
        stream(1, DESK, hz=5, stop=100),
        lists(DESK, (1, 7, 8)),
        expect("discovery-mismatch", certainty="likely", facts={"unlisted": [], "empty": [7]}),
    )


@pytest.mark.parametrize(
    "events",
    [
        [*lists(DESK, (1, 9)), *beat(9, stop=100)],
        [],
        [
            *every(10, discovery(DESK, (1,), 0, 1), discovery(DESK, (700,), 1, 1), start=1, stop=100),
            *stream(700, DESK, hz=5, stop=100),
        ],
        [*lists(DESK, (1,)), *stream(5, DESK, hz=5, start=80, stop=100), *lists(BACKUP, ())],
    ],
    ids=["a list with a synchronization universe", "an older sender without lists", "two pages", "begun a moment ago"],
)
def test_lists_that_agree(events: list[Event]):
    story(MIRROR, stream(1, DESK, hz=5, stop=100), events, expect_silent("discovery-mismatch"), expect_silent())
