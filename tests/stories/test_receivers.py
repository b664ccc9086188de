"""Stories of who asks for light and who leaves it: scripted packets. Where they speak and where they stay silent stands in the
catalogue of symptoms (M4, M6, M7)."""

from __future__ import annotations

from tests.stories.boxes import BOATHOUSE, DESK, LAPTOP, ORCHARD, POND, SWITCH, WALK
from tests.stories.frames import announce, chatter, leave, query, report, universe_group
from tests.stories.script import at, every, expect, expect_silent, listening, mark, quiet, source, story, stream

G1, G2, G3 = (universe_group(each) for each in (1, 2, 3))
ASKED = (1, 31, 61, 91)


def asks(*seconds, **how):
    return [event for second in seconds for event in at(second, query(SWITCH, **how))]


def answers(*seconds, who, group=G1):
    return [event for second in seconds for event in at(second, report(who, group))]


def others(*seconds):
    """Two boxes that answer as they should."""
    return [*answers(*seconds, who=WALK, group=G2), *answers(*seconds, who=ORCHARD, group=G3)]


# ---- M4 a deaf receiver ----


def test_a_box_that_never_answers_is_told():
    told = story(
        listening("mirror"),
        asks(*ASKED),
        answers(2, who=POND),
        others(3, 33, 63, 93),
        every(20, announce(POND), stop=100),
        quiet(5),
        expect(
            "deaf-receiver",
            opened=(72, 73),
            subject=f"host:{POND.mac}",
            severity="soon",
            certainty="likely",
            facts={"universes": [1]},
        ),
    )
    assert told.alerts[0].facts["who"] == POND.address


def test_a_deaf_box_is_dark_when_its_time_is_over():
    asked = range(1, 302, 60)
    story(
        listening("mirror"),
        asks(*asked),
        answers(2, who=POND),
        others(*(each + 2 for each in asked)),
        every(20, announce(POND), stop=300),
        quiet(5),
        expect("deaf-receiver", severity="now"),
    )


def test_on_an_ordinary_port_it_is_a_hint_where_answers_are_heard():
    story(
        listening("ordinary"),
        asks(*ASKED),
        answers(2, who=POND),
        others(3, 33, 63, 93),
        every(20, announce(POND), stop=100),
        expect("deaf-receiver", certainty="hint"),
    )


def test_another_member_answers_for_it():
    story(
        listening("mirror"),
        asks(*ASKED),
        answers(2, who=POND),
        answers(33, 63, 93, who=BOATHOUSE),
        others(3, 33, 63, 93),
        every(20, announce(POND), stop=100),
        expect_silent("deaf-receiver"),
    )


def test_a_box_that_was_switched_off_is_not_deaf():
    story(
        listening("mirror"),
        asks(*ASKED),
        answers(2, who=POND),
        others(3, 33, 63, 93),
        at(20, announce(POND)),
        expect_silent("deaf-receiver"),
    )


def test_answers_that_are_hidden_here_prove_nothing():
    story(
        listening("ordinary"),
        asks(*ASKED),
        answers(2, who=POND),
        answers(3, 33, 63, 93, who=LAPTOP, group=G2),
        every(20, announce(POND), stop=100),
        expect_silent("deaf-receiver"),
    )


def test_a_box_that_left_owes_no_answer():
    story(
        listening("mirror"),
        asks(*ASKED),
        answers(2, who=POND),
        at(20, leave(POND, G1)),
        others(3, 33, 63, 93),
        every(20, announce(POND), stop=100),
        expect_silent("deaf-receiver"),
    )


# ---- M6 fast leave ----


def test_our_leave_cuts_off_a_neighbour_on_the_same_port():
    told = story(
        listening("ordinary"),
        asks(1, 126),
        answers(2, who=LAPTOP),
        answers(3, 127, who=POND),
        stream(1, hz=10, stop=60.3),
        at(60, leave(LAPTOP, G1)),
        stream(1, hz=10, start=127.2, stop=140, first=700),
        every(9, chatter("gatehouse desk"), stop=140),
        expect("fast-leave", opened=(62, 63), severity="now", certainty="likely", facts={"ours": True, "who": "this laptop"}),
    )
    assert [each.code for each in told.alerts if each.over is None and each.severity in ("now", "soon")] == ["fast-leave"]


def test_a_neighbours_leave_cuts_off_this_laptop():
    story(
        listening("ordinary"),
        asks(1, 126),
        answers(2, 127, who=LAPTOP),
        answers(3, who=POND),
        stream(1, hz=10, stop=60.3),
        at(60, leave(POND, G1)),
        stream(1, hz=10, start=127.2, stop=140, first=700),
        every(5, chatter("gatehouse desk"), stop=140),
        expect("fast-leave", opened=(62, 63), severity="soon", certainty="likely"),
        expect("multicast-dropped", over="fast-leave"),
        expect_silent("source-lost"),
    )


def test_once_this_laptop_asked_again_a_leave_says_nothing_of_a_desk_that_stops():
    """RFC 2236 3: the switch asks before it cuts off, this laptop answers, and light goes on."""
    story(
        listening("ordinary"),
        asks(1),
        answers(2, who=LAPTOP),
        answers(2.5, who=LAPTOP, group=G2),
        answers(3, who=POND),
        at(60, leave(POND, G1)),
        asks(60.2, group=G1),
        answers(60.7, who=LAPTOP),
        stream(1, hz=10, stop=80),
        stream(2, BOATHOUSE, hz=10, stop=90),
        expect("source-lost", opened=(82.5, 83.5), severity="now"),
    )


def test_a_switch_that_asks_first_leaves_fairly():
    story(
        listening("ordinary"),
        asks(1, 126),
        answers(2, who=LAPTOP),
        answers(3, 127, who=POND),
        at(60, leave(LAPTOP, G1)),
        asks(60.2, 61.2, group=G1),
        stream(1, hz=10, stop=60.4),
        quiet(10),
        expect_silent("fast-leave"),
    )


def test_the_only_receiver_leaves():
    story(
        listening("ordinary"),
        asks(1, 126),
        answers(2, who=LAPTOP),
        stream(1, hz=10, stop=60.3),
        at(60, leave(LAPTOP, G1)),
        quiet(90),
        expect_silent("fast-leave"),
        expect_silent(),
    )


def test_without_a_querier_reports_come_from_everywhere():
    story(
        listening("ordinary"),
        answers(2, who=LAPTOP),
        answers(3, who=POND),
        stream(1, hz=10, stop=60.3),
        at(60, leave(LAPTOP, G1)),
        quiet(20),
        expect_silent("fast-leave"),
        expect_silent(),
    )


# ---- M7 our own join ----


def joined(second, universe, what="joined"):
    events = [{"what": what, "universe": universe, "group": universe_group(universe), "interface": "eth0", "time": 0}]
    return mark(second, sent=f"{what} universe {universe}", events=events)


def test_light_that_stops_when_we_join_something_else():
    story(
        listening("ordinary"),
        stream(1, hz=10, stop=51.2),
        stream(2, hz=10, start=50.2, stop=80),
        joined(50, 2),
        answers(50, who=LAPTOP, group=G2),
        expect("own-join-darkened", opened=(53, 61), severity="now", certainty="likely", facts={"universes": [1], "asked": [2]}),
    )


def test_it_explains_what_looks_like_a_lost_source():
    told = story(
        listening("ordinary"),
        stream(1, hz=10, stop=51.2),
        stream(2, hz=10, stop=80),
        joined(50, 3),
        expect("own-join-darkened", severity="now"),
        expect("source-lost", subject=source(DESK), over="own-join-darkened"),
    )
    assert [each.code for each in told.alerts if each.over is None and each.severity == "now"] == ["own-join-darkened"]


def test_leaving_healed_it():
    story(
        listening("ordinary"),
        stream(1, hz=10, stop=51.2),
        stream(2, hz=10, start=50.2, stop=75),
        answers(50, who=LAPTOP, group=G2),
        at(60, leave(LAPTOP, G2)),
        stream(1, hz=10, start=60.5, stop=75, first=600),
        expect("own-join-darkened", certainty="certain", facts={"healed": True}),
    )


def test_a_join_where_a_querier_lives_darkens_nobody():
    story(
        listening("ordinary"),
        asks(40),
        stream(1, hz=10, stop=51.2),
        stream(2, hz=10, start=50.2, stop=80),
        joined(50, 2),
        answers(50, who=LAPTOP, group=G2),
        expect_silent("own-join-darkened"),
    )


def test_a_desk_that_dies_by_chance_when_we_join():
    story(
        listening("ordinary"),
        stream(1, hz=10, stop=51.2),
        joined(50, 2),
        answers(50, who=LAPTOP, group=G2),
        every(5, chatter("lantern walk"), stop=80),
        expect_silent("own-join-darkened"),
    )


def test_what_we_left_ourselves_stops_rightly():
    story(
        listening("ordinary"),
        answers(5, who=LAPTOP),
        answers(5, who=LAPTOP, group=G2),
        stream(1, hz=10, stop=50.4),
        stream(2, hz=10, stop=80),
        joined(50, 1, "left"),
        at(50, leave(LAPTOP, G1)),
        expect_silent("own-join-darkened"),
    )


def test_a_mark_with_anything_in_it_breaks_nothing():
    for events in (
        7,
        "x",
        [1],
        [{}],
        [{"what": "joined"}],
        [{"what": "joined", "group": 7}],
        [{"what": "left", "group": "no", "time": "x"}],
    ):
        story(listening("ordinary"), stream(1, hz=10, stop=5), mark(3, sent="x", events=events), expect_silent())
