"""Stories of light that nobody keeps alive, and of switches that pass everything on: scripted packets.

Where they speak and where they stay silent stands in the catalogue of symptoms (M1, M5); intervals are those of RFC 9776 8.
"""

from __future__ import annotations

from tests.stories.acn_frames import discovery
from tests.stories.boxes import LAPTOP, SWITCH, Box
from tests.stories.frames import chatter, leave, query, report, universe_group
from tests.stories.script import at, every, expect, expect_silent, listening, ns, story, stream

G1, G2 = universe_group(1), universe_group(2)
OTHER = Box("stand-by switch", "02:00:00:00:00:fd", "10.0.0.253")
PROXY = Box("edge switch", "02:00:00:00:00:fc", "0.0.0.0")


def asks(*seconds, sender=SWITCH, **how):
    return [event for second in seconds for event in at(second, query(sender, **how))]


def answers(*seconds, who=LAPTOP, group=G1):
    return [event for second in seconds for event in at(second, report(who, group))]


# ---- M1 nobody asks ----


def test_nobody_asks_is_a_note_until_the_switch_is_seen_to_drop():
    told = story(
        listening("ordinary"),
        stream(1, hz=2, start=3, stop=250),
        answers(3),
        expect("no-querier", opened=(135, 146), severity="note", facts={"prunes": None, "goes_dark_by": ns(3 + 260)}),
        expect_silent(),
    )
    facts = told.alerts[0].facts
    assert ns(3 + 70) <= facts["goes_dark_at"] < facts["goes_dark_by"]
    assert all(group.goes_dark_at is None for group in told.groups)


def test_a_switch_that_dropped_once_will_drop_again_and_the_clock_runs():
    told = story(
        listening("ordinary"),
        answers(3, 60),
        stream(1, hz=2, start=3, stop=43),
        stream(1, hz=2, start=60.2, stop=320, first=80),
        every(30, chatter("gatehouse desk"), stop=320),
        expect("no-querier", severity="soon", closed=None, facts={"prunes": True, "dropped": []}),
        expect("multicast-dropped", severity="now", certainty="certain"),
    )
    clock = next(group for group in told.groups if group.group == G1)
    assert clock.goes_dark_at is None, "40 s after the report it should have gone dark, and did not: no clock"


def test_the_clock_starts_anew_with_each_report():
    told = story(
        listening("ordinary"),
        answers(3, 60),
        stream(1, hz=2, start=3, stop=103),
        stream(1, hz=2, start=120.2, stop=150, first=200),
        answers(120),
        every(30, chatter("gatehouse desk"), stop=150),
        expect("multicast-dropped", severity="now"),
    )
    clock = next(group for group in told.groups if group.group == G1)
    assert clock.goes_dark_at is not None
    assert clock.goes_dark_by is not None
    assert abs(clock.goes_dark_at - ns(120 + 42.5)) < 1e9


def test_many_drops_are_one_alert_beside_it():
    groups = range(1, 6)
    story(
        listening("ordinary"),
        *(answers(1, group=universe_group(each)) for each in groups),
        *(stream(each, hz=1, start=1, stop=261 + each) for each in groups),
        every(5, chatter("gatehouse desk"), stop=330),
        expect("no-querier", severity="soon", closed=None, facts={"dropped": list(groups)}),
        expect("multicast-dropped", severity="now", facts={"universes": list(groups)}),
    )


def test_nobody_asks_from_a_mirror_port():
    story(
        listening("mirror"),
        stream(1, hz=2, stop=300),
        answers(3, who=SWITCH),
        expect("no-querier", opened=(135, 146), severity="note"),
        expect_silent(),
    )


def test_a_querier_every_125_s_is_enough():
    story(
        listening("ordinary"),
        stream(1, hz=2, stop=400),
        asks(1, 126, 251, 376),
        answers(2, 127, 252, 377),
        expect_silent("no-querier", "querier-lost", "two-queriers", "multicast-dropped"),
        expect_silent(),
    )


def test_an_unmanaged_switch_for_a_while_is_only_a_note():
    told = story(
        listening("ordinary"),
        stream(1, hz=1, stop=400),
        every(40, chatter("lantern walk"), stop=400),
        expect("no-querier", severity="note", facts={"prunes": False, "goes_dark_at": None}),
        expect("multicast-flooded", severity="note", opened=(30, 42)),
        expect_silent(),
    )
    assert {check.name: check.state for check in told.checks}["Multicast will hold"] == "FINE"


# ---- M5 everything everywhere ----


def test_many_unasked_universes_are_a_matter_of_quality():
    told = story(
        listening("ordinary"),
        *(stream(each, hz=1, stop=60) for each in range(1, 46)),
        expect("multicast-flooded", severity="quality", certainty="certain", facts={"table_full": False}),
        expect_silent(),
    )
    assert len(told.alerts[0].facts["universes"]) == 45


def test_what_was_left_a_while_ago_is_no_flooding():
    story(
        listening("ordinary"),
        answers(1),
        at(20, leave(LAPTOP, G1)),
        stream(1, hz=1, stop=200),
        expect_silent("multicast-flooded"),
    )


def test_a_burst_after_the_start_is_no_flooding():
    story(
        listening("ordinary"),
        stream(1, hz=5, stop=20),
        answers(1, group=G2),
        stream(2, hz=2, stop=60),
        expect_silent("multicast-flooded"),
    )


def test_a_mirror_port_gets_everything_rightly():
    story(listening("mirror"), stream(1, hz=1, stop=90), expect_silent("multicast-flooded"))


# ---- light that stays away ----


def test_unasked_light_that_a_query_stopped_shows_a_switch_that_prunes():
    told = story(
        listening("ordinary"),
        asks(20),
        answers(21),
        stream(1, hz=2, stop=285),
        stream(2, hz=2, stop=21.2),
        expect("no-querier", severity="soon", closed=None, facts={"prunes": True}),
    )
    clock = next(group for group in told.groups if group.group == G1)
    assert clock.goes_dark_by == ns(21 + 260), "the laptop answered the only query 1 s later"
    assert next(group for group in told.groups if group.group == G2).wanted_here == "not wanted"


def test_announced_light_that_nobody_here_asked_for_stays_away():
    story(
        listening("ordinary"),
        answers(3),
        stream(1, hz=2, stop=280),
        every(10, discovery("gatehouse desk", (1, 2)), stop=280),
        expect("no-querier", severity="soon", closed=None, facts={"prunes": True}),
    )


def test_announced_light_that_we_asked_for_shows_nothing():
    story(
        listening("ordinary"),
        answers(3),
        answers(3, group=G2),
        stream(1, hz=2, stop=200),
        every(10, discovery("gatehouse desk", (1, 2)), stop=200),
        expect("no-querier", severity="note", facts={"prunes": None}),
    )
