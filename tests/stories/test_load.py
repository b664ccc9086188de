"""Stories of Art-Net that goes to every box. Art-Net 4 (1.4di) p.58 lets levels go by unicast only; the rates are practice."""

from __future__ import annotations

from dataclasses import replace

import pytest

from netwatch.numbers import DEFAULTS
from tests.stories.boxes import DESK, POND, WALK
from tests.stories.frames import artpoll
from tests.stories.script import artnet, at, every, expect, expect_silent, listening, quiet, story, stream

MIRROR = listening("mirror")


def test_a_few_universes_to_all_are_untidy() -> None:
    story(
        *(artnet(universe, DESK, hz=40, stop=25) for universe in (0, 1)),
        expect(
            "artnet-broadcast-load", subject="rig", severity="tidy", certainty="certain", opened=(0, 20),
            facts={"senders": [DESK.address], "universes": [0, 1]},
        ),
    )  # fmt: skip


def test_many_universes_make_small_boxes_slow() -> None:
    """Here 'many' is set to 50 packets/s, so that the test is short."""
    few = replace(DEFAULTS, artnet_broadcast_quality_pps=50)
    both = artnet(0, DESK, hz=44, stop=25), artnet(1, DESK, hz=44, stop=25)
    story(*both, expect("artnet-broadcast-load", severity="quality"), numbers=few)


def test_the_directed_broadcast_address_is_as_bad() -> None:
    """It goes to the broadcast MAC all the same (RFC 919)."""
    story(artnet(0, DESK, hz=20, stop=25, to="10.0.0.255"), expect("artnet-broadcast-load", severity="tidy"))


def test_its_weight_on_the_line() -> None:
    """40 frames/s of 512 levels: 572 octets with Ethernet header, and 24 of check, preamble and gap (IEEE 802.3, from memory)."""
    told = story(artnet(0, DESK, hz=40, stop=35), expect("artnet-broadcast-load"))
    assert abs(told.alerts[0].facts["mbit"] - 40 * (572 + 24) * 8 / 1e6) < 0.01


def test_it_stops() -> None:
    story(artnet(0, DESK, hz=20, stop=15), quiet(70), expect("artnet-broadcast-load", closed=(18, 40)))


def test_polls_are_meant_for_all() -> None:
    story(every(2.5, artpoll(DESK), artpoll(POND), stop=60), expect_silent("artnet-broadcast-load"))


def test_unicast_is_right() -> None:
    story(MIRROR, artnet(0, DESK, hz=40, stop=30, to=WALK), expect_silent())


def test_multicast_of_the_other_protocol_is_no_broadcast() -> None:
    story(MIRROR, stream(1, DESK, hz=40, stop=30), at(5, artpoll(DESK)), expect_silent("artnet-broadcast-load"))


@pytest.mark.parametrize("start", [0.0, 3.9, 8.9, 9.9])
def test_the_rate_of_a_young_stream(start: float) -> None:
    """Wherever in a bucket of 10 s it begins: 40 a second, and 2 once it is slower."""
    told = story(MIRROR, stream(1, DESK, 40, start=start, stop=start + 12), quiet(0.3))
    assert told.streams[0].rate_now == pytest.approx(40, rel=0.03)
    slower = stream(1, DESK, 2, start=start + 12, stop=start + 36, first=480)
    told = story(MIRROR, stream(1, DESK, 40, start=start, stop=start + 12), slower)
    assert told.streams[0].rate_now == pytest.approx(2, rel=0.03)
