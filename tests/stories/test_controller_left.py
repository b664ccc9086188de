"""Stories of controllers that leave. ARP by RFC 826, DHCP by RFC 2131, light by E1.31-2018 and Art-Net 4; pauses are invented."""

from __future__ import annotations

from dataclasses import replace

from tests.stories import frames
from tests.stories.artnet_frames import light
from tests.stories.boxes import BACKUP, DESK, POND, WALK
from tests.stories.script import at, every, expect, expect_silent, listening, source, story, stream

SUBJECT = f"host:{DESK.mac}"
OTHERS = [*every(4, frames.announce(WALK), stop=120), *every(7, frames.announce(POND), stop=120)]


def test_asleep() -> None:
    story(
        listening("mirror"),
        OTHERS,
        stream(1, stop=40),
        every(5, frames.announce(DESK), stop=40),
        expect(
            "controller-left",
            severity="now",
            certainty="likely",
            subject=SUBJECT,
            opened=(50, 80),
            closed=None,
            facts={"who": "gatehouse desk", "universes": [1]},
        ),
        expect("source-lost", over="controller-left", subject=source(DESK)),
    )


def test_gone_from_an_ordinary_port() -> None:
    story(
        listening("ordinary"),
        OTHERS,
        light(DESK, [0, 1], 10, stop=40),
        every(5, frames.announce(DESK), stop=40),
        expect("controller-left", severity="soon", subject=SUBJECT, facts={"protocol": "artnet", "universes": [0, 1]}),
    )


def test_back_with_a_made_up_mac() -> None:
    """It is known again by the name that it gives the DHCP server."""
    asks = {"host_name": "gatehouse", "requested": "10.0.0.50", "server": "10.0.0.1"}
    back = replace(DESK, mac="0a:11:22:33:44:55", address="10.0.0.50")
    told = story(
        listening("mirror"),
        OTHERS,
        at(0.1, frames.dhcp(frames.REQUEST, DESK, **asks)),
        stream(1, stop=40),
        every(5, frames.announce(DESK), stop=40),
        at(90, frames.dhcp(frames.REQUEST, back, **asks), frames.announce(back)),
        expect("controller-left", subject=SUBJECT, facts={"back_as": back.mac, "made_up": True}),
    )
    assert "back as 0a:11:22:33:44:55" in next(each.title for each in told.alerts if each.code == "controller-left")


def test_program_closed_on_a_box_that_lives() -> None:
    story(
        listening("mirror"),
        OTHERS,
        stream(1, stop=40),
        every(5, frames.announce(DESK), stop=120),
        expect_silent("controller-left"),
        expect("source-lost"),
    )


def test_goodbye() -> None:
    story(
        listening("mirror"),
        OTHERS,
        stream(1, stop=40, goodbye=True),
        every(5, frames.announce(DESK), stop=40),
        expect_silent("controller-left"),
    )


def test_all_fall_silent_together() -> None:
    """Then it is this laptop's port, or the recording's end."""
    story(
        listening("mirror"),
        stream(1, stop=40),
        every(5, frames.announce(DESK), frames.announce(BACKUP), stop=40),
        at(41, frames.announce(WALK)),
        at(120, frames.announce(WALK)),
        expect_silent("controller-left"),
    )


def test_box_that_rarely_speaks() -> None:
    story(
        listening("mirror"),
        OTHERS,
        stream(1, stop=40),
        at(1, frames.announce(DESK)),
        at(2, frames.announce(DESK)),
        expect_silent("controller-left"),
    )


def test_told_as_soon_as_it_is_sure() -> None:
    """Silent for 10 s, then a word of another box: not only on the next 10 s grid."""
    story(
        listening("mirror"),
        OTHERS,
        stream(1, stop=41),
        every(2, frames.announce(DESK), stop=41),
        expect("controller-left", subject=SUBJECT, opened=(51, 54)),
    )
