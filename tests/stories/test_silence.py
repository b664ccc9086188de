"""Stories of light that stops: a source lost, a source that signed off, a group that the switch dropped, and what can't be told.

Timers: E1.31-2018 6.7.1 (2.5 s), Art-Net 4 (1.4di) p.63 (10 s), RFC 9776 8 (queries and memberships).
"""

from __future__ import annotations

import pytest

from tests.stories.boxes import DESK, LAPTOP, POND, WALK
from tests.stories.frames import EVERYBODY, announce, chatter, leave, query, report, universe_group
from tests.stories.playing import Event
from tests.stories.script import artnet, at, every, expect, expect_silent, listening, mark, quiet, source, story, stream

GROUP = universe_group(1)
ORDINARY, MIRROR = listening("ordinary"), listening("mirror")
OTHERS = stream(9, POND, hz=5, stop=30)
"""Light of somebody else that goes on."""


def joined(*seconds: float) -> list[Event]:
    """This laptop asks for universe 1 at these seconds."""
    return [event for second in seconds for event in at(second, report(LAPTOP, GROUP), direction=2)]


def kept_alive(*seconds: float) -> list[Event]:
    """A querier asks, and this laptop answers within a second."""
    return [event for second in seconds for event in [*at(second, query()), *joined(second + 0.5)]]


# ---- source-lost ----


def test_one_desk_of_two_dies() -> None:
    story(
        MIRROR, *(stream(universe, DESK, hz=10, stop=12) for universe in (1, 2, 3)), stream(9, POND, hz=10, stop=30),
        expect(
            "source-lost", subject=source(DESK), severity="now", certainty="certain", opened=(14.4, 14.8), closed=None,
            title="gatehouse desk went silent: universes 1-3", facts={"others_alive": True},
        ),
    )  # fmt: skip


def test_the_only_desk_dies_where_a_querier_keeps_the_group() -> None:
    """An ordinary port would hear it: asked and answered within the membership time."""
    story(
        ORDINARY, kept_alive(1, 126), stream(1, DESK, hz=5, start=1, stop=140), quiet(10),
        expect("source-lost", subject=source(DESK), certainty="likely", opened=(142.3, 142.8)),
        expect_silent("universe-silent", "multicast-dropped"),
    )  # fmt: skip


def test_an_artnet_controller_that_sends_to_all_dies() -> None:
    story(
        ORDINARY, artnet(0, DESK, hz=10, stop=10), artnet(1, POND, hz=10, stop=40),
        expect("source-lost", subject="source:10.0.0.10/0", severity="soon", opened=(19.8, 20.3)),
    )  # fmt: skip


def test_it_comes_back() -> None:
    story(
        MIRROR, stream(1, DESK, hz=10, stop=10), stream(1, DESK, hz=10, start=20, stop=32, first=100), OTHERS,
        expect("source-lost", opened=(12.3, 12.8), closed=(20, 20.3)),
    )  # fmt: skip


def test_a_slow_keep_alive_is_no_loss() -> None:
    """Unchanged levels are repeated every 0.8 to 1 s (6.6.2), by some older desks every 2 s: field reports."""
    story(MIRROR, stream(1, DESK, hz=0.5, stop=60), stream(9, POND, hz=1, stop=60), expect_silent())


def test_one_packet_lost_of_a_keep_alive() -> None:
    story(MIRROR, stream(1, DESK, hz=1, stop=30, lose={17}), stream(9, POND, hz=1, stop=30), expect_silent())


def test_a_hole_in_the_recording_is_no_silence() -> None:
    """The laptop slept: everything waits anew."""
    story(
        MIRROR, stream(1, DESK, hz=5, stop=10), stream(2, POND, hz=5, stop=10),
        stream(1, DESK, hz=5, start=1000, stop=1010), stream(2, POND, hz=5, start=1000, stop=1010), expect_silent(),
    )  # fmt: skip


def test_light_seen_once_is_no_source_yet() -> None:
    story(MIRROR, stream(1, DESK, hz=10, stop=1), OTHERS, expect_silent())


# ---- source-ended ----


def test_three_packets_say_goodbye() -> None:
    """E1.31-2018 6.2.6."""
    story(
        MIRROR, stream(1, DESK, hz=10, stop=10, goodbye=True), OTHERS,
        expect(
            "source-ended", subject=source(DESK), severity="note", opened=(10, 10.3),
            title="gatehouse desk signed off properly: universe 1",
        ),
        expect_silent("source-lost", "universe-silent", "multicast-dropped"),
    )  # fmt: skip


def test_one_goodbye_gets_through() -> None:
    """One is enough for a receiver."""
    story(
        MIRROR, stream(1, DESK, hz=10, stop=10, goodbye=True, lose={101, 102}), OTHERS,
        expect("source-ended", severity="note"), expect_silent(),
    )  # fmt: skip


def test_one_universe_of_several_ends() -> None:
    story(
        MIRROR, stream(1, DESK, hz=10, stop=10, goodbye=True), stream(2, DESK, hz=10, stop=30),
        expect("source-ended", facts={"universes": [1]}), expect_silent(),
    )  # fmt: skip


def test_a_desk_that_dies_said_no_goodbye() -> None:
    story(MIRROR, stream(1, DESK, hz=10, stop=10), OTHERS, expect_silent("source-ended"), expect("source-lost"))


def test_preview_is_no_goodbye() -> None:
    """Options 0x80 says that the levels are not for output (6.2.6), no more."""
    story(MIRROR, stream(1, DESK, hz=10, stop=20, options=0x80), stream(9, POND, hz=5, stop=20), expect_silent("source-ended"))


# ---- universe-silent: the certain thing, while nobody can know more ----


def test_nothing_arrives_any_more_and_nobody_knows_why() -> None:
    story(
        ORDINARY, joined(0.2), stream(1, DESK, hz=10, start=0.5, stop=20), every(7, announce(WALK), stop=60),
        expect("universe-silent", subject="universe:1", severity="soon", certainty="certain", opened=(22.3, 22.8), closed=None),
        expect_silent("source-lost", "multicast-dropped"),
    )  # fmt: skip


def test_it_arrives_again_unasked() -> None:
    story(
        ORDINARY, joined(0.2), stream(1, DESK, hz=10, start=0.5, stop=20), stream(1, DESK, hz=10, start=40, stop=55),
        expect("universe-silent", closed=(40, 40.3)), expect_silent("source-lost", "multicast-dropped"),
    )  # fmt: skip


def test_what_nobody_here_asked_for_may_stop() -> None:
    """A short flood right after the start, as switches make until they know their querier."""
    story(ORDINARY, joined(0.2), stream(1, DESK, hz=10, stop=20), stream(2, POND, hz=10, stop=4), expect_silent())


def test_what_this_laptop_left_may_stop() -> None:
    story(
        ORDINARY, joined(0.2), stream(1, DESK, hz=10, start=0.5, stop=20), at(19.9, leave(LAPTOP, GROUP), direction=2),
        quiet(30), expect_silent(),
    )  # fmt: skip


def test_unicast_to_others_may_stop() -> None:
    story(ORDINARY, stream(1, DESK, hz=10, stop=5, to=WALK), every(5, announce(POND), stop=40), expect_silent())


def test_on_a_mirror_port_silence_is_never_unknown() -> None:
    story(MIRROR, joined(0.2), stream(1, DESK, hz=10, start=0.5, stop=20), quiet(20), expect_silent("universe-silent"))


# ---- multicast-dropped ----


def test_the_desk_lives_but_its_light_is_gone() -> None:
    """Snooping without a querier: 260 s after our only report. The desk's broadcasts go on."""
    story(
        ORDINARY, joined(1), stream(1, DESK, hz=2, start=1.2, stop=261), every(20, announce(DESK), start=5, stop=300),
        expect(
            "multicast-dropped", severity="now", certainty="likely", opened=(265, 265.6), closed=None, facts={"universes": [1]},
            title="Multicast dropped after 259 s: the switch stopped passing universe 1 to this laptop",
        ),
        expect("universe-silent", over="multicast-dropped"), expect_silent("source-lost"),
    )  # fmt: skip


def test_a_new_request_brings_it_back_at_once() -> None:
    """Restarting the receiver 'cures' it: the mark of a missing querier (measured)."""
    story(
        ORDINARY, joined(1, 60), stream(1, DESK, hz=10, start=1.2, stop=41), stream(1, DESK, hz=10, start=60.2, stop=80, first=9),
        expect(
            "multicast-dropped", certainty="certain", severity="now",
            opened=(60.2, 60.6), facts={"silent_s": 19.3, "after_s": 39.9},
        ),
    )  # fmt: skip


def test_a_first_query_brings_it_back() -> None:
    """Receivers answer within 10 s (RFC 9776 8.3), and the switch knows them again."""
    story(
        ORDINARY, joined(1), stream(1, DESK, hz=10, start=1.2, stop=41), at(60, query()), joined(64),
        stream(1, DESK, hz=10, start=64.2, stop=80), expect("multicast-dropped", certainty="certain", opened=(64.2, 64.6)),
    )  # fmt: skip


def test_a_desk_that_dies_and_shows_no_sign() -> None:
    dies = stream(1, DESK, hz=10, start=1.2, stop=41)
    story(ORDINARY, joined(1), dies, every(9, announce(POND), stop=90), expect_silent("multicast-dropped"))


def test_a_desk_restarts_between_two_queries_of_a_healthy_querier() -> None:
    """It is back within 10 s of a query by chance: the membership never lapsed."""
    story(
        ORDINARY, kept_alive(1, 126, 251), stream(1, DESK, hz=5, start=1.8, stop=200), stream(1, DESK, hz=5, start=254, stop=270),
        every(30, announce(POND), stop=270), expect("source-lost"), expect_silent("multicast-dropped", "universe-silent"),
    )  # fmt: skip


def test_the_recording_had_a_hole_when_the_query_came() -> None:
    story(
        ORDINARY, joined(1), stream(1, DESK, hz=10, start=1.2, stop=20), at(1000, query()), joined(1001),
        stream(1, DESK, hz=10, start=1001.2, stop=1010, first=9), expect_silent(),
    )  # fmt: skip


def test_broadcast_light_is_not_dropped_by_snooping() -> None:
    story(
        ORDINARY, stream(1, DESK, hz=10, stop=20, to=EVERYBODY), every(5, announce(DESK), stop=40), quiet(5),
        expect_silent("multicast-dropped", "universe-silent"), expect("source-lost"),
    )  # fmt: skip


def test_a_desk_that_signed_off_lives_on() -> None:
    ends = stream(1, DESK, hz=10, start=1.2, stop=20, goodbye=True)
    story(ORDINARY, joined(1), ends, every(5, announce(DESK), stop=60), expect_silent())


def test_plain_sockets_know_no_sender_by_its_mac() -> None:
    """Without MACs a sign of life must come from the sender's own address."""
    nameless = DESK.card("00:00:00:00:00:00")
    other = POND.card("00:00:00:00:00:00")
    story(
        listening("limited", made_up=True), stream(1, nameless, hz=10, stop=20), every(3, chatter(other), stop=60),
        expect_silent("multicast-dropped"),
    )  # fmt: skip


def asked_for_late(first: float, *, gap: float = 1.0) -> list[Event]:
    """A switch passes all on until somebody asks who listens (9 s); the laptop asks for universe 1 at 20 s only.

    Universe 1 rests, universe 2 of the same desk runs and shows that it lives. ``first`` = when universe 1 comes again.
    """
    return [
        *at(9, query()), *at(16, query()), *joined(20), *at(20, report(LAPTOP, universe_group(2)), direction=2), *at(24, query()),
        *joined(24.2),
        *stream(1, DESK, hz=1 / gap, stop=10.4), *stream(1, DESK, hz=1 / gap, start=first, stop=first + 9, first=20),
        *stream(2, DESK, hz=10, stop=10.4), *stream(2, DESK, hz=10, start=20.1, stop=first + 8, first=3),
    ]  # fmt: skip


@pytest.mark.parametrize("first", [20.1, 20.9, 21.9, 22.7, 23.4])
def test_light_that_rests_is_asked_for_and_comes_at_its_next_turn(first: float) -> None:
    """Its next packet may be due a second later (E1.31-2018 6.6.2), and only then does the time of 6.7.1 (2.5 s) begin."""
    story(ORDINARY, asked_for_late(first), expect_silent("multicast-dropped", "universe-silent", "source-lost"))


def test_an_old_desk_rests_for_longer() -> None:
    """One packet every 2 s, as some older desks rest (common practice, no source)."""
    story(ORDINARY, asked_for_late(24.3, gap=2), expect_silent("multicast-dropped", "universe-silent", "source-lost"))


def test_light_that_is_asked_for_and_does_not_come_is_missed() -> None:
    """A switch that does not heed the request: nothing in 1 + 2.5 s, though the desk is heard."""
    story(
        ORDINARY, joined(20), stream(1, DESK, hz=1, stop=10.4), every(3, announce(DESK), start=1, stop=30),
        expect("multicast-dropped", opened=(23.5, 23.8)), expect("universe-silent", over="multicast-dropped"),
    )  # fmt: skip


# ---- capture-dropping ----


def test_this_laptop_drops_packets() -> None:
    story(
        MIRROR, stream(1, DESK, hz=20, stop=30), *(mark(second, dropped=40 * (second >= 12)) for second in range(30)),
        expect(
            "capture-dropping", subject="port:eth0", severity="soon", certainty="certain", about_laptop=True,
            opened=(12, 12.5), facts={"dropped": 40},
        ),
    )  # fmt: skip


def test_drops_explain_what_seems_to_be_missing() -> None:
    story(
        MIRROR, stream(1, DESK, hz=20, stop=18), stream(2, POND, hz=20, stop=30),
        *(mark(second, dropped=40 * (second >= 19)) for second in range(30)),
        expect("capture-dropping"), expect("source-lost", over="capture-dropping"),
    )  # fmt: skip


def test_drops_are_over_after_a_minute() -> None:
    story(
        MIRROR, stream(1, DESK, hz=2, stop=100), *(mark(second, dropped=7 * (second >= 5)) for second in range(100)),
        expect("capture-dropping", closed=(65, 65.6)),
    )  # fmt: skip


def test_a_counter_that_stands_still_is_no_drop() -> None:
    """It counts from the start of the capture, not from the last look."""
    marks = [mark(second, dropped=0) for second in range(30)]
    story(MIRROR, stream(1, DESK, hz=20, stop=30), *marks, expect_silent("capture-dropping"))


def test_gaps_on_the_way_are_not_ours() -> None:
    """A congested link: the counters stay at 0."""
    story(
        MIRROR, stream(1, DESK, hz=40, stop=30, lose=set(range(5, 1200, 50))), *(mark(second, dropped=0) for second in range(30)),
        expect_silent("capture-dropping"), expect("packets-lost"),
    )  # fmt: skip
