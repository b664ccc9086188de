"""Stories of who keeps multicast alive: scripted packets. Where they speak and where they stay silent stands in the catalogue of
symptoms (M2, M3); intervals are those of RFC 9776 8 unless a story says otherwise."""

from __future__ import annotations

from struct import pack

from tests.stories.asking import G1, OTHER, PROXY, answers, asks, told_of
from tests.stories.boxes import SWITCH
from tests.stories.frames import ALL_HOSTS, chatter, checksum, ethernet, group_mac, ipv4
from tests.stories.script import at, every, expect, expect_silent, listening, quiet, story, stream

# ---- M2 the querier is gone ----

def test_a_querier_that_falls_silent_is_told_before_the_light_goes():
    told_of(
        *(stream(1, hz=1, stop=105), asks(1, 26, 51, version=3, interval=25), answers(2, 27, 52)),
        expect(
            "querier-lost",
            opened=(81, 82),
            severity="soon",
            certainty="likely",
            facts={"address": SWITCH.address, "interval": 25.0, "prunes": None},
        ),
        expect("no-querier", over="querier-lost"),
    )


def test_the_drops_after_it_go_under_the_lost_querier():
    seconds = range(1, 101, 20)
    told = story(
        *(listening("ordinary"), asks(*seconds, version=3, interval=20), answers(*(each + 1 for each in seconds))),
        *(stream(1, hz=2, stop=130), every(5, chatter("gatehouse desk"), stop=170)),
        expect("querier-lost", opened=(105, 106), severity="now", closed=None, facts={"dropped": [1]}),
        expect("multicast-dropped", over="querier-lost"),
    )
    assert not [each for each in told.alerts if each.over is None and each.code != "querier-lost"]


def test_a_lost_querier_is_seen_from_a_mirror_port_too():
    told_of(
        *(listening("mirror"), stream(1, hz=1, stop=85), asks(1, 26, 51), every(20, chatter("lantern walk"), stop=85)),
        expect("querier-lost", opened=(81, 82), severity="soon", certainty="hint"),
    )


def test_another_box_takes_over():
    told_of(
        *(stream(1, hz=1, stop=130), asks(1, 26), asks(77, 102, 127, sender=OTHER), answers(2, 27, 78, 103, 128)),
        expect("querier-lost", facts={"taken_over_by": OTHER.address}),
    )


def test_a_later_question_within_the_allowance_is_no_loss():
    told_of(stream(1, hz=1, stop=88), asks(1, 26, 51, 80), answers(2, 27, 52, 81), expect_silent("querier-lost"))


def test_quick_questions_at_the_start_do_not_make_the_later_ones_late():
    told_of(
        *(stream(1, hz=1, stop=84), asks(1, 7, 32, 57, 82), answers(2, 8, 33, 58, 83)),
        expect_silent("querier-lost", "no-querier"),
        expect_silent(),
    )


def test_a_gap_in_the_recording_is_no_lost_querier():
    told_of(
        *(stream(1, hz=1, stop=60), asks(1, 26, 51), answers(2, 27, 52)),
        *(stream(1, hz=1, start=700, stop=724, first=60), asks(720), expect_silent("querier-lost")),
    )


# ---- M3 two of them ----


def test_two_boxes_ask_side_by_side():
    story(
        listening("ordinary"),
        asks(1, 126, 251),
        asks(20, 145, 270, sender=OTHER),
        stream(1, hz=1, stop=280),
        expect(
            "two-queriers",
            opened=(145, 252),
            severity="soon",
            certainty="certain",
            facts={"kind": "two", "queriers": [SWITCH.address, OTHER.address]},
        ),
    )


def test_two_boxes_ask_side_by_side_seen_from_a_mirror_port():
    story(listening("mirror"), asks(1, 61, 121), asks(31, 91, 151, sender=OTHER), expect("two-queriers", certainty="certain"))


def test_version_1_and_mixed_versions():
    story(
        listening("ordinary"),
        asks(1, 126),
        asks(60, version=3),
        expect("two-queriers", severity="quality", facts={"kind": "versions"}),
    )
    story(
        listening("ordinary"), at(1, version_1()), quiet(1), expect("two-queriers", severity="soon", facts={"kind": "version 1"})
    )


def version_1():
    """RFC 1112 App. I: no code, so that its answer time is 10 s."""
    body = pack(">BBH", 0x11, 0, 0) + bytes(4)
    whole = body[:2] + pack(">H", checksum(body)) + body[4:]
    return ethernet(SWITCH.mac, group_mac(ALL_HOSTS), 0x0800, ipv4(SWITCH.address, ALL_HOSTS, 2, whole, ttl=1))


def test_a_start_up_overlap_is_no_second_querier():
    story(listening("ordinary"), asks(1, 32, 157, 282), asks(5, 36, sender=OTHER), quiet(1), expect_silent("two-queriers"))


def test_a_switch_that_asks_for_the_real_one_is_no_second_querier():
    story(
        listening("ordinary"),
        asks(1, 126, 251),
        asks(20, 145, 270, sender=PROXY),
        expect_silent("two-queriers"),
        expect_silent(),
    )


def test_questions_for_one_group_are_no_second_querier():
    story(
        listening("ordinary"),
        answers(1),
        asks(2, 127, 252),
        asks(50, 51, 130, 131, 255, sender=OTHER, group=G1),
        expect_silent("two-queriers"),
    )


def test_only_a_switch_asks():
    story(listening("ordinary"), asks(1, 126, sender=PROXY), expect("two-queriers", severity="note", facts={"kind": "switch"}))
