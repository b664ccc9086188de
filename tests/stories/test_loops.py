"""Stories of frames that go round (L1) and of one box that floods (L2).

Rates and counts are common practice, no source. That a bridge sends a frame to a group out of all other ports, and with a loop
for ever, is IEEE 802.1D-2004 7.7 (from memory). Silent stories are what loops are mistaken for.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from tests.stories import frames
from tests.stories.boxes import BACKUP, DESK, LAPTOP, ORCHARD, POND, WALK, Box
from tests.stories.playing import NS, Event, Heard
from tests.stories.script import Line, artnet, at, every, expect, expect_silent, listening, ns, story, stream

MIRROR, ORDINARY, WIFI = listening("mirror", laptop=None), listening("ordinary"), listening(kind="wifi")
FEW = bytes((9,)) * 24


def round_(events: Iterable[Event], every_ms: float, times: int, start: float = 0, stop: float = 1e9) -> list[Event]:
    """Frames that were heard from ``start`` on come again so many times, until ``stop``."""
    out: list[Event] = []
    for event in events:
        assert isinstance(event, Heard)
        again = [event.time + round(i * every_ms * 1e6) for i in range(1, times + 1)] if event.time >= ns(start) else []
        out += [event, *(replace(event, time=time, direction=event.direction and 1) for time in again if time < ns(stop))]
    return out


def light(universe: int = 1, who: Box = DESK, hz: float = 40, stop: float = 8, **given: object) -> list[Event]:
    """A short frame."""
    return stream(universe, who, hz, stop=stop, **{"levels": FEW, **given})  # type: ignore[arg-type]


# ---- loops ----


def test_a_patch_cable_with_both_ends_in_one_switch() -> None:
    """From the fourth second on each frame goes round every 3 ms until it drops out."""
    story(
        MIRROR, round_([*light(hz=20), *light(2, WALK, 10)], 3, 60, start=4),
        expect(
            "loop", subject="rig", severity="now", certainty="certain", opened=(4, 5), closed=None,
            facts={"senders": [DESK.name, WALK.name], "ours": False},
        ),
        expect_silent("storm", "sources-fighting", "packets-out-of-order"),
    )  # fmt: skip


def test_our_own_frames_come_back() -> None:
    """On an ordinary port; nobody else says anything that goes to all."""
    asked = every(0.5, frames.arp(LAPTOP, "10.0.0.1"), start=1, stop=6)
    mine = [replace(event, direction=2) for event in asked if isinstance(event, Heard)]
    story(
        ORDINARY, light(), round_(mine, 60, 6, start=3),
        expect("loop", severity="now", certainty="certain", opened=(3, 4), facts={"ours": True}),
    )  # fmt: skip


def test_a_slow_and_crowded_circle() -> None:
    """A link of 1.5 Mbit/s: each frame comes seven times, 55 ms apart."""
    story(
        ORDINARY, round_([*light(hz=20), *light(2, WALK, 20)], 55, 6, start=3),
        expect("loop", severity="now", certainty="likely", opened=(3, 4)),
    )  # fmt: skip


def test_no_light_is_heard_yet() -> None:
    asked = [*at(2, frames.arp(ORCHARD, "10.0.0.1")), *at(2.1, frames.arp(POND, "10.0.0.1"))]
    story(
        MIRROR, at(0.5, frames.arp(WALK, "10.0.0.1")), round_(asked, 3, 400), expect("loop", certainty="certain", opened=(2, 3))
    )


def test_art_net_without_numbers_and_an_arp_go_round() -> None:
    """Standing light whose frames look the same by nature; sequence 0 (Art-Net 4 p.60)."""
    uncounted = artnet(0, DESK, 10, stop=4, counted=False, levels=FEW)
    story(
        MIRROR, round_([*uncounted, *at(2.05, frames.arp(POND, "10.0.0.1"))], 1, 250, start=2),
        expect("loop", certainty="certain", opened=(2, 3), closed=None),
    )  # fmt: skip


def test_what_follows_from_it_stands_under_it() -> None:
    """One desk can't be heard for it; the ARP of a box comes so often that the box seems to flood."""
    asked = round_(at(3, frames.arp(POND, "10.0.0.1")), 0.8, 7_000, stop=8.6)
    story(
        MIRROR, round_(light(stop=9, hz=10), 4, 80, start=3, stop=8.6), asked, light(2, WALK, 10, stop=3.2),
        light(2, WALK, 10, start=8.5, stop=9, first=80),
        expect("loop", opened=(3, 3.6)), expect("source-lost", subject="source:" + WALK.cid.hex(), over="loop"),
        expect("storm", subject=f"host:{POND.mac}", over="loop"),
    )  # fmt: skip


def test_the_cable_is_pulled() -> None:
    story(MIRROR, round_(light(stop=30, hz=10), 3, 100, start=2, stop=6), expect("loop", opened=(2, 3), closed=(6, 8)))


def test_numbers_that_went_round_tell_nothing_of_the_way_here() -> None:
    """Frames that come again a second later look like lost ones, late ones, doubled ones, and like a sender that is too fast."""
    story(
        MIRROR, round_(light(stop=34, hz=40), 55, 30, start=12, stop=16), expect("loop", opened=(12, 13)),
        expect_silent("packets-lost", "packets-out-of-order", "packets-repeated", "rate-too-high", "rate-too-low"),
    )  # fmt: skip


# ---- what is taken for a loop ----


def test_mirrors_that_copy() -> None:
    """Every frame twice; or of thirty ports at once, in both directions: thirty copies within a millisecond."""
    quiet: tuple[Line, ...] = (expect_silent("loop", "storm"), expect_silent())
    story(MIRROR, round_([*light(), *light(2, WALK), *every(0.5, frames.arp(POND, "10.0.0.1"), stop=8)], 0.05, 1), *quiet)
    story(MIRROR, round_([*light(stop=4), *every(0.1, frames.arp(POND, "10.0.0.1"), stop=4)], 0.03, 29), *quiet)


def test_our_own_frames_in_a_mirror_of_all_ports() -> None:
    """What this laptop asks is copied back once where it left each of two mirrored ports."""
    asked = every(0.2, frames.arp(LAPTOP, "10.0.0.1"), stop=6)
    mine = [replace(event, direction=2) for event in asked if isinstance(event, Heard)]
    story(listening("mirror"), light(), round_(mine, 0.02, 2), expect_silent("loop"))


def test_an_access_point_gives_our_own_frames_back() -> None:
    mine = [
        replace(event, direction=2)
        for event in every(0.1, frames.report(LAPTOP, "239.255.0.1"), stop=6)
        if isinstance(event, Heard)
    ]
    story(WIFI, light(), round_(mine, 2, 3), expect_silent("loop"))


def test_frames_that_look_the_same_by_nature() -> None:
    """Standing Art-Net without numbers of four desks; an ARP that is asked again; a sender whose number stands still."""
    desks = [artnet(universe, who, 44, stop=5, counted=False) for universe, who in enumerate((DESK, WALK, POND, BACKUP))]
    story(
        MIRROR, *desks, every(0.02, frames.arp(ORCHARD, "10.0.0.1"), stop=5), light(1, stop=5, step=0),
        light(2, ORCHARD, stop=5, step=0),
        expect_silent("loop", "storm"),
    )  # fmt: skip


def test_senders_that_count_in_their_own_way() -> None:
    """One number for four frames; 21, 23, 23, 25, 25; START codes counted apart (seen of real senders)."""
    slow = [Heard(ns(i / 44), frames.e131(DESK, 1, i // 4, FEW)) for i in range(220)]
    twice = [Heard(ns(i / 40), frames.e131(ORCHARD, 4, i + i % 2, FEW)) for i in range(200)]
    story(
        MIRROR, slow, twice, light(3, POND, stop=5), light(3, POND, 40, stop=5, start=0.01, start_code=0xDD),
        expect_silent("loop"),
    )


def test_one_box_repeats_itself_while_others_are_heard_once() -> None:
    """1,200 times a second for 6 s, with never a change: it floods, but nothing goes round."""
    story(
        MIRROR, light(), every(1 / 1200, frames.chatter(ORCHARD), start=1, stop=7.5),
        expect("storm", subject=f"host:{ORCHARD.mac}", severity="quality", certainty="certain", opened=(6, 7.2),
               facts={"light": False}),
        expect_silent("loop"),
    )  # fmt: skip


# ---- storms ----


def program(pps: int, seconds: float, who: Box = ORCHARD, start: float = 1) -> list[Event]:
    """A program gone mad: polls with ever new content."""
    return [
        Heard(
            ns(start) + i * NS // pps,
            frames.where_to(who, "255.255.255.255", None, 17, frames.udp(40_000, 9, i.to_bytes(8, "big"))),
        )
        for i in range(int(pps * seconds))
    ]


def test_a_program_gone_mad_seen_from_an_ordinary_port() -> None:
    story(
        ORDINARY, light(), program(1_300, 6.5),
        expect("storm", subject=f"host:{ORCHARD.mac}", severity="quality", opened=(6, 7), closed=None,
               facts={"who": ORCHARD.address}),
        expect_silent("loop"),
    )  # fmt: skip


def test_so_many_that_boxes_stand_still() -> None:
    told = story(MIRROR, light(stop=4), program(11_000, 1.2), expect("storm", severity="now", opened=(1.5, 2.3)))
    assert 10_000 < next(each for each in told.alerts if each.code == "storm").facts["pps"] < 12_000


def test_one_universe_sent_without_end() -> None:
    story(MIRROR, light(2, WALK), light(1, DESK, 1_200, stop=6.5), expect("storm", facts={"light": True, "who": DESK.name}))


def test_planned_light_and_a_load_in_and_a_search_are_no_storm() -> None:
    """Forty universes at 44 Hz of one desk; sixty boxes that start; 1,200 questions a second of ours, or of others for 4 s."""
    many = [event for universe in range(1, 41) for event in light(universe, hz=44, stop=7)]
    boxes = [replace(ORCHARD, mac=f"02:00:00:00:01:{i:02x}") for i in range(60)]
    starts = [
        event for i, box in enumerate(boxes) for event in every(0.05, frames.dhcp(frames.DISCOVER, box), start=1 + i / 60, stop=4)
    ]
    ours = [replace(event, direction=2) for event in program(1_200, 6, LAPTOP) if isinstance(event, Heard)]
    story(ORDINARY, many, starts, expect_silent("storm", "loop"))
    story(ORDINARY, light(hz=10), ours, expect_silent("storm", "loop"))
    story(ORDINARY, light(hz=10), program(1_200, 4), expect_silent("storm", "loop"))
