"""Stories of who may send a universe (E1.31-2018 6.2.3, 6.2.6, 6.2.7 and 9.3.1). Thresholds: common practice, no source."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import pytest

from netwatch.numbers import DEFAULTS
from tests.stories import frames
from tests.stories.boxes import BACKUP, DESK, ORCHARD, POND, WALK
from tests.stories.script import expect, expect_silent, listening, quiet, source, story
from tests.stories.script import stream as full_stream

LOW, HIGH = bytes((60,)) * 512, bytes((200,)) * 512
LEFT, RIGHT = bytes((200,)) * 256 + bytes(256), bytes(256) + bytes((200,)) * 256
stream = partial(full_stream, hz=10)
"""Short stories: what is told here doesn't hang on the rate."""
MIRROR, ORDINARY = listening("mirror", laptop=None), listening("ordinary")


# ---- S1 ----


def test_two_desks_fight():
    story(
        MIRROR,
        stream(7, DESK, stop=20, levels=LOW),
        stream(7, BACKUP, start=5, stop=20, levels=HIGH, first=9),
        expect(
            "sources-fighting",
            subject="universe:7",
            severity="now",
            certainty="certain",
            opened=(8, 8.6),
            closed=None,
            facts={"channels": 512, "priority": 100, "a": DESK.name, "b": BACKUP.name},
        ),
        expect("universe-shared", over="sources-fighting", subject="universe:7"),
    )


def test_how_long_a_fight_must_last_can_be_set():
    fight = stream(7, DESK, stop=20, levels=LOW), stream(7, BACKUP, start=5, stop=12, levels=HIGH, first=9)
    story(MIRROR, *fight, expect("sources-fighting", opened=(11, 11.6)), numbers=replace(DEFAULTS, fight_after_s=6))
    story(MIRROR, *fight, expect_silent("sources-fighting"), numbers=replace(DEFAULTS, fight_after_s=11))


def test_a_fight_on_some_channels_is_seen_from_an_ordinary_port_and_ends():
    mine = LOW[:37] + bytes(475)
    story(
        ORDINARY,
        stream(7, DESK, stop=30, levels=LOW),
        stream(7, POND, start=2, stop=15, levels=bytes((90,)) * 37 + bytes(475), goodbye=True),
        stream(7, WALK, start=2, stop=30, levels=mine, priority=90),
        expect("sources-fighting", severity="now", opened=(5, 5.6), closed=(15, 15.6), facts={"channels": 37}),
    )


@pytest.mark.parametrize("before", [64, 511])
def test_a_fight_on_the_last_channels_alone_is_seen(before: int):
    """The first ones they share, or leave to each other."""
    story(
        MIRROR,
        stream(7, DESK, stop=20, levels=lambda i: bytes(9) + LOW[9:before] + bytes((50 + i % 100,)) * (512 - before)),
        stream(7, BACKUP, start=2, stop=20, levels=HIGH[:9] + LOW[9:before] + HIGH[before:], first=9),
        expect("sources-fighting", severity="now", opened=(5, 5.6), facts={"channels": 512 - before}),
    )


def test_slot_priorities_make_a_fight_on_the_slots_that_both_hold():
    """START code 0xDD: 0 = this source does not control the slot (as two public merge libraries have it)."""
    both = bytes((100,)) * 10 + bytes(502)
    story(
        MIRROR,
        stream(7, DESK, stop=30, levels=LOW, priority=100),
        stream(7, POND, stop=30, levels=HIGH, priority=50),
        stream(7, DESK, hz=1, start=0.01, stop=30, levels=both, start_code=0xDD, first=500),
        stream(7, POND, hz=1, start=0.01, stop=30, levels=bytes(5) + bytes((100,)) * 507, start_code=0xDD, first=500),
        expect("sources-fighting", facts={"channels": 5, "priority": None}),
    )


def fade(i: int) -> bytes:
    """Frame i of moving light that comes to no frame twice."""
    return bytes((1 + i % 255, 1 + i // 255, *(1 + (3 * i + channel) % 250 for channel in range(510))))


@pytest.mark.parametrize("late", [0.023, 0.12, 0.7])
def test_a_backup_that_tracks_shows_the_same_a_moment_later(late: float):
    """Its own frames fall between those of the main one, and it takes over three of four."""
    story(
        MIRROR,
        stream(7, DESK, hz=40, stop=25, levels=fade),
        stream(7, BACKUP, hz=30, start=late, stop=25, levels=lambda i: fade(i * 4 // 3), first=9),
        expect("universe-shared", severity="note", subject="universe:7"),
        expect_silent("sources-fighting"),
        expect_silent(),
    )


def test_the_one_that_was_there_first_may_follow():
    story(
        MIRROR,
        stream(7, DESK, hz=40, stop=20, levels=lambda i: fade(max(0, i - 10))),
        stream(7, BACKUP, hz=40, start=0.02, stop=20, levels=fade, first=9),
        expect_silent("sources-fighting"),
        expect_silent(),
    )


def test_who_follows_more_than_a_second_later_fights():
    story(
        MIRROR,
        stream(7, DESK, stop=20, levels=fade),
        stream(7, BACKUP, start=1.55, stop=20, levels=fade, first=9),
        expect("sources-fighting", opened=(4.5, 5.3)),
    )


def test_a_backup_that_stops_tracking_fights():
    """It holds what it took over last."""
    story(
        MIRROR,
        stream(7, DESK, stop=25, levels=fade),
        stream(7, BACKUP, start=0.15, stop=25, levels=lambda i: fade(min(i, 100)), first=9),
        expect("sources-fighting", opened=(13.1, 14.9)),
    )


def test_two_desks_that_run_through_the_same_looks_by_themselves_fight():
    """They agree at first; then every other look is the other's of 0.8 s ago, the rest are older."""
    looks, behind = [bytes((20 * number,)) * 512 for number in range(1, 6)], (1, 3, 1, 2)

    def apart(i: int) -> bytes:
        return looks[(i // 32 - (behind[i // 32 % 4] if i >= 320 else 0)) % 5]

    story(
        MIRROR,
        stream(7, DESK, hz=40, stop=40, levels=lambda i: looks[i // 32 % 5]),
        stream(7, BACKUP, hz=40, start=0.01, stop=40, levels=apart, first=9),
        expect("sources-fighting", severity="now", opened=(12, 15)),
    )


def test_a_desk_that_stands_while_another_flashes_through_its_look_fights():
    """What stands has followed nobody."""
    story(
        MIRROR,
        stream(7, DESK, hz=40, stop=20, levels=lambda i: LOW if i % 40 in (1, 2) else HIGH),
        stream(7, BACKUP, hz=40, start=0.01, stop=20, levels=LOW, first=9),
        expect("sources-fighting", severity="now"),
    )


def test_sharing_by_disjoint_channels_is_a_note():
    story(
        ORDINARY,
        stream(7, DESK, stop=30, levels=LEFT),
        stream(7, POND, stop=30, levels=RIGHT),
        expect("universe-shared", severity="note", subject="universe:7", opened=(3, 3.6), facts={"sources": 2}),
        expect_silent(),
        expect_silent("sources-fighting"),
    )


def test_three_that_share_may_be_too_many():
    story(
        MIRROR,
        *(stream(7, who, stop=12, levels=LEFT) for who in (DESK, POND, WALK)),
        expect("universe-shared", severity="quality", certainty="likely", facts={"sources": 3}),
        expect_silent(),
    )


def test_a_backup_below_and_a_short_hand_over_do_not_fight():
    story(
        MIRROR,
        stream(7, DESK, stop=30, levels=LOW),
        stream(7, BACKUP, stop=30, levels=HIGH, priority=90),
        stream(7, POND, start=10, stop=12, levels=HIGH, goodbye=True),
        expect_silent("sources-fighting", "universe-shared", "backup-took-over"),
        expect_silent(),
    )


def test_slot_priorities_settle_who_has_what():
    mine, yours = bytes((120,)) * 256 + bytes(256), bytes(256) + bytes((120,)) * 256
    story(
        MIRROR,
        stream(7, DESK, stop=30, levels=LOW),
        stream(7, POND, stop=30, levels=HIGH),
        stream(7, DESK, hz=1, start=0.01, stop=30, levels=mine, start_code=0xDD, first=500),
        stream(7, POND, hz=1, start=0.01, stop=30, levels=yours, start_code=0xDD, first=500),
        expect_silent("sources-fighting"),
    )


def test_two_cards_of_one_desk_do_not_fight():
    """The same CID and number on both (E1.31-2018 9.1)."""
    other = DESK.card("02:00:00:00:01:10").at("10.0.0.110")
    story(
        MIRROR,
        stream(7, DESK, stop=20, levels=LOW),
        stream(7, other, start=0.001, stop=20, levels=LOW),
        expect_silent("sources-fighting", "universe-shared"),
        expect_silent(),
    )


# ---- S2 ----


def test_a_backup_takes_over():
    story(
        MIRROR,
        stream(1, DESK, stop=20),
        stream(1, BACKUP, stop=40, priority=90),
        stream(2, BACKUP, stop=40),
        expect(
            "backup-took-over",
            subject=source(BACKUP),
            severity="soon",
            certainty="certain",
            opened=(22.5, 23.1),
            closed=None,
            facts={
                "who": DESK.name,
                "backup": BACKUP.name,
                "universes": [1],
                "main_priority": 100,
                "priority": 90,
                "ended": False,
            },
        ),
        expect("source-lost", severity="now"),
    )


def test_a_standby_that_was_off_begins_seen_from_an_ordinary_port():
    story(
        ORDINARY,
        stream(1, DESK, stop=20),
        stream(1, BACKUP, start=25, stop=50, priority=101),
        expect("backup-took-over", severity="soon", certainty="likely", opened=(26, 30), closed=None),
    )


def test_to_and_fro_is_worse():
    story(
        MIRROR,
        *(stream(1, DESK, start=10 * i, stop=10 * i + 5, first=200 * i) for i in range(3)),
        stream(1, BACKUP, hz=20, stop=30, priority=90),
        expect("backup-took-over", severity="now", times=3, facts={"changes": 5}),
    )


def test_a_planned_change_is_a_note():
    story(
        MIRROR,
        stream(1, DESK, stop=20, goodbye=True),
        stream(1, BACKUP, stop=40, priority=90),
        expect("backup-took-over", severity="note", facts={"ended": True}),
        expect_silent(),
    )


def test_a_restart_with_a_new_identity_is_no_backup():
    """Identities may last for one run only (E1.31-2018 5.6)."""
    again = POND.card(DESK.mac).at(DESK.address)
    story(MIRROR, stream(1, DESK, stop=20), stream(1, again, start=21, stop=40), expect_silent("backup-took-over"))


def test_a_main_desk_that_starts_later_takes_nothing_over():
    story(
        MIRROR,
        stream(1, BACKUP, stop=40, priority=90),
        stream(1, DESK, start=15, stop=40),
        expect_silent("backup-took-over"),
        expect_silent(),
    )


# ---- S4 ----


def test_preview_left_on():
    story(
        MIRROR,
        stream(3, DESK, stop=30, options=frames.PREVIEW),
        stream(4, DESK, stop=30, options=frames.PREVIEW),
        expect(
            "preview-only",
            subject=source(DESK),
            severity="now",
            certainty="certain",
            opened=(10, 13),
            facts={"universes": [3, 4]},
        ),
    )


def test_preview_of_a_universe_whose_live_desk_left_seen_from_an_ordinary_port():
    story(
        ORDINARY,
        stream(3, DESK, stop=10, goodbye=True),
        stream(3, BACKUP, stop=40, options=frames.PREVIEW),
        expect("preview-only", subject=source(BACKUP), opened=(20, 20.6)),
    )


def test_preview_beside_live_light_and_a_short_look_in_blind():
    story(
        MIRROR,
        stream(3, DESK, stop=30),
        stream(3, BACKUP, stop=30, options=frames.PREVIEW),
        stream(4, POND, stop=10),
        stream(4, POND, start=10, stop=18, options=frames.PREVIEW, first=400),
        stream(4, POND, start=18, stop=30, first=720),
        expect_silent("preview-only", "sources-fighting", "universe-shared"),
        expect_silent(),
    )


# ---- S6, S7 ----


def test_universe_zero_and_one_above_the_range():
    story(
        MIRROR,
        stream(0, DESK, stop=10),
        stream(64_000, WALK, hz=10, stop=10),
        expect("universe-out-of-range", subject=source(DESK), severity="now", certainty="certain", facts={"universes": [0]}),
        expect("universe-out-of-range", subject=source(WALK), facts={"universes": [64_000]}),
        expect_silent("wrong-multicast-group"),
    )


def test_universe_zero_by_broadcast_from_an_ordinary_port():
    story(
        ORDINARY,
        stream(0, DESK, stop=10, to=frames.EVERYBODY),
        quiet(20),
        expect("universe-out-of-range", opened=(1.9, 3.1), closed=(12, 13)),
    )


def test_the_ends_of_the_range_and_a_single_stray_are_fine():
    story(
        MIRROR,
        stream(1, DESK, stop=10),
        stream(63_999, DESK, stop=10),
        stream(0, WALK, hz=1, stop=1),
        expect_silent("universe-out-of-range"),
        expect_silent(),
    )


def test_the_group_of_swapped_bytes():
    """Universe 256 belongs to 239.255.1.0 (E1.31-2018 table 9-10)."""
    story(
        MIRROR,
        stream(256, DESK, stop=10, to="239.255.0.1"),
        expect(
            "wrong-multicast-group",
            severity="now",
            certainty="certain",
            facts={"group": "239.255.0.1", "right": "239.255.1.0", "how": "swapped", "universes": [256]},
        ),
    )


def test_all_universes_in_one_group_from_an_ordinary_port():
    story(
        ORDINARY,
        *(stream(number, DESK, stop=10, to="239.255.0.1") for number in (1, 2, 3)),
        expect("wrong-multicast-group", subject=source(DESK), facts={"universes": [2, 3], "how": "one"}),
    )


def test_a_division_by_255_is_a_wrong_group():
    """Universe 255 belongs to 239.255.0.255; a public library was seen to send it to 239.255.1.0."""
    story(MIRROR, stream(255, DESK, stop=10, to="239.255.1.0"), expect("wrong-multicast-group", facts={"right": "239.255.0.255"}))


def test_unicast_and_broadcast_have_no_wrong_group():
    story(
        MIRROR,
        stream(256, DESK, stop=10, to=ORCHARD),
        stream(300, DESK, stop=10, to=frames.EVERYBODY),
        stream(256, WALK, stop=10),
        expect_silent("wrong-multicast-group", "universe-out-of-range"),
        expect_silent(),
    )
