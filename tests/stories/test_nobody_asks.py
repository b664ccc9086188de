"""Stories of light that nobody keeps alive, and of switches that pass everything on: scripted packets.

Where they speak and where they stay silent stands in the catalogue of symptoms (M1, M5); intervals are a fifth of
those of RFC 9776 8.
"""

from __future__ import annotations

from tests.stories.acn_frames import discovery
from tests.stories.asking import G1, G2, OTHER, answers, asks, told_of
from tests.stories.boxes import LAPTOP, SWITCH
from tests.stories.frames import chatter, leave, universe_group
from tests.stories.playing import difference, picture, play, singly
from tests.stories.script import at, every, expect, expect_silent, listening, ns, story, stream

# ---- M1 nobody asks ----


def test_nobody_asks_is_a_note_until_the_switch_is_seen_to_drop():
    told = told_of(
        *(stream(1, hz=2, start=3, stop=50), answers(3)),
        expect("no-querier", opened=(30, 31), severity="note", facts={"prunes": None, "goes_dark_by": ns(3 + 52)}),
        expect_silent(),
    )
    facts = told.alerts[0].facts
    assert ns(3 + 14) <= facts["goes_dark_at"] < facts["goes_dark_by"]
    assert all(group.goes_dark_at is None for group in told.groups)


def test_a_switch_that_dropped_once_will_drop_again():
    told = told_of(
        *(answers(3, 20), stream(1, hz=2, start=3, stop=13), stream(1, hz=2, start=20.2, stop=70, first=20)),
        every(5, chatter("gatehouse desk"), stop=70),
        expect("no-querier", severity="soon", closed=None, facts={"prunes": True, "dropped": []}),
        expect("multicast-dropped", severity="now", certainty="certain"),
    )
    clock = next(group for group in told.groups if group.group == G1)
    assert clock.goes_dark_at is None, "10 s after the report it should have gone dark, and did not: no clock"


def test_the_clock_starts_anew_with_each_report():
    told = told_of(
        *(answers(3, 12, 26), stream(1, hz=2, start=3, stop=22), stream(1, hz=2, start=26.2, stop=33, first=38)),
        every(5, chatter("gatehouse desk"), stop=33),
        expect("multicast-dropped", severity="now"),
    )
    clock = next(group for group in told.groups if group.group == G1)
    assert clock.goes_dark_at == clock.goes_dark_by == ns(26 + 9.5), "as long after the report as at the drop that was seen"


def test_many_drops_are_one_alert_beside_it():
    groups = range(1, 6)
    told_of(
        *(answers(1, group=universe_group(each)) for each in groups),
        *(stream(each, hz=1, start=1, stop=53 + each) for each in groups),
        every(5, chatter("gatehouse desk"), stop=75),
        expect("no-querier", severity="soon", closed=None, facts={"dropped": list(groups)}),
        expect("multicast-dropped", severity="now", facts={"universes": list(groups)}),
    )


def test_groups_that_come_back_in_one_tick_come_back_by_arrival():
    """Universe 2 a moment before universe 1; found by fuzzing: it depended on where the tick was cut."""
    events = sorted(
        (*answers(1, group=G1), *answers(1, group=G2), *stream(1, hz=2, start=1, stop=20), *stream(2, hz=2, start=1.2, stop=20),
         *every(5, chatter("gatehouse desk"), stop=40), *asks(30.5), *stream(2, hz=2, start=31, stop=40, first=60),
         *stream(1, hz=2, start=31.05, stop=40, first=60)),
        key=lambda event: event.time,
    )  # fmt: skip
    whole, singly_fed = (play(events, cut=cut) for cut in (lambda place: False, singly))
    assert [each.universe for each in whole.network.multicast.backs] == [2, 1]
    assert not difference(picture(whole), picture(singly_fed))


def test_nobody_asks_from_a_mirror_port():
    told_of(
        *(listening("mirror"), stream(1, hz=2, stop=60), answers(3, who=SWITCH)),
        expect("no-querier", opened=(27, 28), severity="note"),
        expect_silent(),
    )


def test_a_querier_every_25_s_is_enough():
    told_of(
        *(stream(1, hz=2, stop=80), asks(1, 26, 51, 76), answers(2, 27, 52, 77)),
        expect_silent("no-querier", "querier-lost", "two-queriers", "multicast-dropped"),
        expect_silent(),
    )


def test_on_a_mirror_port_the_switchs_own_questions_may_be_missing():
    """As recorded in the lab: a mirror of what enters the ports shows answers, but not what the switch itself asks."""
    told_of(
        *(listening("mirror"), stream(1, hz=2, stop=80), answers(2, 27, 52, 77), answers(3, 28, 53, 78, who=OTHER)),
        expect("no-querier", severity="note", certainty="hint"),
    )


def test_an_unmanaged_switch_is_only_a_note():
    told = told_of(
        *(stream(1, hz=1, stop=60), every(10, chatter("lantern walk"), stop=60)),
        expect("no-querier", severity="note", facts={"prunes": False, "goes_dark_at": None}),
        expect("multicast-flooded", severity="note", opened=(30, 42)),
        expect_silent(),
    )
    assert {check.name: check.state for check in told.checks}["Multicast will hold"] == "FINE"


# ---- light that stays away ----


def test_unasked_light_that_a_query_stopped_shows_a_switch_that_prunes():
    told = told_of(
        *(asks(5), answers(6), stream(1, hz=2, stop=57.5), stream(2, hz=2, stop=6.2)),
        expect("no-querier", severity="soon", closed=None, facts={"prunes": True}),
    )
    clock = next(group for group in told.groups if group.group == G1)
    assert clock.goes_dark_by == ns(6 + 52), "the laptop answered the only query 1 s later"
    assert next(group for group in told.groups if group.group == G2).wanted_here == "not wanted"


def test_announced_light_that_nobody_here_asked_for_stays_away():
    told_of(
        *(answers(3), stream(1, hz=2, stop=58), every(10, discovery("gatehouse desk", (1, 2)), stop=58)),
        expect("no-querier", severity="soon", closed=None, facts={"prunes": True}),
    )


def test_announced_light_that_we_asked_for_shows_nothing():
    told_of(
        *(answers(3), answers(3, group=G2), stream(1, hz=2, stop=40), every(10, discovery("gatehouse desk", (1, 2)), stop=40)),
        expect("no-querier", severity="note", facts={"prunes": None}),
    )


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
