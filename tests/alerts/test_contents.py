"""Stories of what packets of light say: synchronization, form, priority by slot, identity, lists (E1.31-2018, clauses beside).

Times and counts without a clause are common practice, no source.
"""

from __future__ import annotations

from functools import partial
from typing import Any

import pytest

from tests.stories import frames
from tests.stories.acn_frames import broken, sync
from tests.stories.boxes import DESK, LAPTOP, POND, WALK, Box
from tests.stories.playing import Event, Heard
from tests.stories.script import at, expect, expect_silent, listening, ns, source, story
from tests.stories.script import stream as full_stream

stream = partial(full_stream, hz=10)
"""Short stories: what is told here doesn't hang on the rate."""
MIRROR, ORDINARY = listening("mirror", laptop=None), listening("ordinary")
FORCE = 0x20
"""Force_Synchronization (6.2.6)."""


def beat(address: int, who: Box = DESK, stop: float = 20, start: float = 0, hz: float = 4) -> list[Event]:
    """Synchronization at a steady rate."""
    return [Heard(ns(start + i / hz + 0.005), sync(who, address, i)) for i in range(int((stop - start) * hz))]


# ---- S5 (6.2.4.1, 6.2.6, 11.1.2) ----


def test_the_beat_is_lost_and_receivers_hold():
    story(
        MIRROR,
        stream(3, DESK, stop=40, sync=9),
        stream(4, DESK, stop=40, sync=9),
        beat(9, stop=20),
        expect(
            "sync-lost",
            subject="universe:9",
            severity="now",
            certainty="certain",
            opened=(22.2, 23),
            closed=None,
            facts={"what": "lost", "universes": [3, 4], "holds": True, "masters": [DESK.name]},
        ),
    )


def test_the_beat_is_lost_on_a_port_that_is_sure_to_get_it_and_comes_back():
    group = frames.universe_group(9)
    story(
        ORDINARY,
        at(0.1, frames.query(), frames.report(LAPTOP, group), frames.report(LAPTOP, frames.universe_group(3))),
        stream(3, DESK, stop=60, sync=9),
        beat(9, WALK, stop=20),
        beat(9, WALK, start=30, stop=60),
        expect("sync-lost", severity="now", certainty="certain", opened=(22.2, 23), closed=(29, 33)),
    )


def test_without_proof_that_the_port_gets_it_is_a_hint():
    story(
        ORDINARY,
        at(0.1, frames.report(LAPTOP, frames.universe_group(9)), frames.report(LAPTOP, frames.universe_group(3))),
        stream(3, DESK, stop=40, sync=9),
        beat(9, WALK, stop=20),
        expect("sync-lost", severity="quality", certainty="hint"),
        expect_silent(),
    )


def test_receivers_that_go_on_without_the_beat():
    story(
        MIRROR,
        stream(3, DESK, stop=40, sync=9, options=FORCE),
        beat(9, stop=20),
        expect("sync-lost", severity="tidy"),
        expect_silent(),
    )


def test_two_give_the_beat():
    story(
        MIRROR,
        stream(3, DESK, stop=40, sync=9),
        beat(9, DESK, stop=40),
        beat(9, WALK, start=10, stop=40),
        expect("sync-lost", severity="quality", facts={"what": "two"}),
        expect_silent(),
    )


def test_a_field_that_is_filled_and_never_used():
    story(
        MIRROR, stream(3, DESK, stop=20, sync=9), expect("sync-lost", severity="tidy", facts={"what": "never"}), expect_silent()
    )


def test_a_group_that_this_laptop_did_not_ask_for_tells_nothing():
    story(
        ORDINARY,
        at(0.1, frames.report(LAPTOP, frames.universe_group(3))),
        stream(3, DESK, stop=20, sync=9),
        expect_silent("sync-lost"),
    )


def test_a_steady_beat_and_a_desk_that_stops_all():
    story(
        MIRROR,
        stream(3, DESK, stop=20, sync=9, goodbye=True),
        beat(9, stop=20),
        stream(4, WALK, stop=40, sync=8),
        beat(8, WALK, stop=40),
        expect_silent("sync-lost"),
        expect_silent(),
    )


# ---- S11 ----


def marred(offset: int, value: int, hz: float = 5, stop: float = 30, who: Box = DESK, **given: Any) -> list[Event]:
    return [Heard(ns(i / hz), broken(frames.e131(who, 1, i, **given), offset, value)) for i in range(int(stop * hz))]


def test_all_frames_of_a_sender_are_to_be_discarded():
    """Address and data type 0xA1 (7.3)."""
    story(
        MIRROR,
        marred(118, 0xA2),
        expect(
            "malformed-frames", subject=f"host:{DESK.mac}", severity="now", certainty="certain", facts={"faults": ["dmp-type"]}
        ),
    )


def test_lengths_that_do_not_agree_seen_from_an_ordinary_port():
    """5.4, 6.1, 7.1."""
    story(
        ORDINARY,
        marred(39, 0x51),
        stream(2, WALK, stop=30),
        expect(
            "malformed-frames", subject=f"host:{DESK.mac}", severity="quality", facts={"faults": ["lengths"], "universes": [1]}
        ),
    )


def test_a_priority_above_200():
    """6.2.3."""
    story(
        MIRROR,
        stream(1, DESK, stop=30, priority=201),
        expect("malformed-frames", severity="quality", facts={"faults": ["priority-range"]}),
    )


def test_what_no_receiver_minds_is_a_note():
    """A name that fills its field without a null (6.2.2): only the maker can mend it."""
    story(
        MIRROR,
        marred(107, ord("x"), name="x" * 63),
        expect("malformed-frames", severity="note", certainty="certain", facts={"faults": ["name-unended"]}),
        expect_silent(),
    )


def test_universes_of_170_pixels_are_a_note():
    story(
        MIRROR,
        *(stream(number, DESK, stop=20, levels=bytes(510)) for number in (1, 2, 3)),
        expect("malformed-frames", severity="note", certainty="hint", facts={"pixels": True, "universes": [1, 2, 3]}),
        expect_silent(),
    )


@pytest.mark.parametrize(
    "events",
    [
        [*marred(118, 0xA2, hz=1, stop=2), *stream(2, WALK, stop=30)],
        [
            *stream(1, DESK, stop=30, levels=bytes(24)),
            *stream(2, DESK, stop=30, levels=bytes(510)),
            *stream(3, DESK, stop=30, levels=b""),
        ],
        stream(1, DESK, stop=30, start_code=0x17),
        marred(112, 0x1F),
    ],
    ids=["two strays", "short universes", "text packets", "reserved bits"],
)
def test_well_formed(events: list[Event]):
    """Short universes are legal (table 4-1), reserved bits are ignored (6.2.6)."""
    story(MIRROR, events, expect_silent("malformed-frames"), expect_silent())


# ---- S12 ----


def priorities(universe: int, who: Box, stop: float = 40, values: bytes = bytes((100,)) * 512) -> list[Event]:
    return stream(universe, who, hz=1, start=0.013, stop=stop, levels=values, start_code=0xDD, first=77)


def test_a_priority_for_each_channel_is_a_note():
    story(
        MIRROR,
        stream(1, DESK, stop=40),
        priorities(1, DESK),
        expect("slot-priority-mixed", subject=source(DESK), severity="note", facts={"universes": [1], "mixed": []}),
        expect_silent(),
    )


def test_one_has_priorities_for_channels_the_other_has_not_seen_from_an_ordinary_port():
    story(
        ORDINARY,
        stream(1, DESK, stop=40, priority=120),
        priorities(1, DESK),
        stream(1, POND, stop=40),
        expect("slot-priority-mixed", severity="tidy", certainty="hint", facts={"mixed": [1], "others": [POND.name]}),
    )


def test_no_priorities_and_other_start_codes():
    story(
        MIRROR,
        stream(1, DESK, stop=40),
        stream(1, DESK, hz=1, start=0.013, stop=40, start_code=0x17, first=9),
        expect_silent("slot-priority-mixed"),
        expect_silent(),
    )


def test_priorities_that_ended_are_forgotten():
    story(
        MIRROR,
        stream(1, DESK, stop=60),
        priorities(1, DESK, stop=15),
        expect("slot-priority-mixed", closed=(18, 30)),
        expect_silent(),
    )
