"""Stories of how packets come: loss, order, copies and rates (E1.31-2018 6.2.5, 6.6, 6.7; E1.11-2008 table 6).

Shares and counts are common practice, no source. Silent stories hold several innocent senders at once.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from netwatch.alerts.rates import dmx_rate
from netwatch.numbers import DEFAULTS
from tests.stories import frames
from tests.stories.boxes import BACKUP, BOATHOUSE, DESK, ORCHARD, POND, WALK
from tests.stories.playing import Event, Heard
from tests.stories.script import expect, expect_silent, listening, mark, ns, source, story, stream

MIRROR, ORDINARY = listening("mirror", laptop=None), listening("ordinary")
FEW = bytes((9,)) * 24
PATIENT = replace(DEFAULTS, rate_window_s=20)
"""Two buckets are enough for gaps as long as here."""


def moving(i: int) -> bytes:
    """A frame that differs from the one before."""
    return bytes((i % 255 + 1,)) * 24


def light(universe: int, who: frames.Box = DESK, *, hz: float = 40, stop: float = 20, **given: object) -> list[Event]:
    """A short frame."""
    return stream(universe, who, hz, stop=stop, **{"levels": FEW, **given})  # type: ignore[arg-type]


def disordered(times: int, universe: int = 1, stop: float = 20) -> list[Event]:
    """A stream in which every so many-th packet comes behind the next one."""
    events = light(universe, stop=stop)
    for at in range(times, len(events) - 1, times):
        one, other = events[at], events[at + 1]
        assert isinstance(one, Heard)
        assert isinstance(other, Heard)
        events[at], events[at + 1] = Heard(one.time, other.frame), Heard(other.time, one.frame)
    return events


def doubled(events: list[Event], each: int = 1) -> list[Event]:
    """Every packet (or every so many-th) a second time, 50 us later."""
    again = [
        Heard(event.time + 50_000, event.frame) for i, event in enumerate(events) if isinstance(event, Heard) and i % each == 0
    ]
    return [*events, *again]


# ---- S8 ----


def test_a_share_gets_lost():
    story(
        MIRROR,
        light(5, lose=range(50, 800, 50)),
        light(6, WALK),
        expect(
            "packets-lost", subject="universe:5", severity="quality", closed=None, facts={"all_senders": False, "who": DESK.name}
        ),
    )


def test_all_senders_lose_seen_from_an_ordinary_port():
    story(
        ORDINARY,
        light(5, lose=range(10, 800, 10)),
        light(6, WALK, lose=range(10, 800, 10)),
        expect("packets-lost", subject="universe:5", severity="now", facts={"all_senders": True}),
        expect("packets-lost", subject="universe:6", severity="now", facts={"all_senders": True}),
    )


def test_bursts_in_a_running_effect():
    lost = [at + i for at in (200, 350, 600) for i in range(3)]
    story(
        MIRROR,
        light(5, levels=moving, lose=lost),
        light(6, WALK),
        expect("packets-lost", subject="universe:5", severity="quality", facts={"bursts": 3}),
    )


def test_what_looks_like_loss():
    """A START code may be counted apart, against E1.31-2018 6.2.5; 21, 23, 23, 25, 25 was seen of a real sender."""
    miscounts = [Heard(ns(i / 40), frames.e131(ORCHARD, 4, i + i % 2, FEW)) for i in range(800)]
    story(
        MIRROR,
        light(1, DESK, levels=moving, lose=range(300, 330)),
        light(2, WALK, lose=[at + i for at in (300, 500) for i in range(3)], hz=35),
        light(3, POND),
        light(3, POND, hz=1, start=0.01, start_code=0xDD, first=77),
        miscounts,
        light(5, BOATHOUSE, stop=12),
        light(5, BOATHOUSE, start=12, first=150),
        expect_silent("packets-repeated", "packets-lost"),
        expect_silent(),
    )


def test_what_this_laptop_dropped_is_not_the_network():
    dropping = [each for at in range(20) for each in mark(at, dropped=at * 4)]
    story(MIRROR, dropping, light(5, lose=range(10, 800, 10)), expect_silent("packets-lost"), expect("capture-dropping"))


# ---- S9 ----


def test_packets_overtake_each_other():
    story(MIRROR, disordered(100), expect("packets-out-of-order", subject=source(DESK), severity="quality", certainty="certain"))


def test_packets_overtake_each_other_on_two_universes_seen_from_an_ordinary_port():
    story(
        ORDINARY,
        disordered(50, 1),
        disordered(50, 2),
        light(3, WALK),
        expect("packets-out-of-order", subject=source(DESK), facts={"universes": [1, 2]}),
    )


def test_few_stray_ones_a_restart_and_two_senders_with_one_identity_are_in_order():
    twin = POND.card("02:00:00:00:01:11").at("10.0.0.111")
    story(
        MIRROR,
        disordered(300),
        light(2, WALK, stop=12),
        light(2, WALK, start=12, first=470),
        light(3, POND),
        light(3, twin, first=120),
        expect_silent("packets-out-of-order", "packets-repeated", "packets-lost"),
    )


def test_copies_of_some_streams():
    story(
        MIRROR,
        doubled(light(1), each=4),
        light(2, WALK),
        expect("packets-repeated", subject=source(DESK), severity="quality", facts={"universes": [1], "stuck": False}),
    )


def test_a_sender_that_does_not_count_seen_from_an_ordinary_port():
    story(
        ORDINARY,
        light(1, step=0, stop=30),
        light(2, WALK, stop=30),
        expect("packets-repeated", subject=source(DESK), severity="quality", facts={"stuck": True}),
        expect_silent("rate-too-low", "rate-too-high", "packets-lost"),
        numbers=PATIENT,
    )


def test_a_mirror_that_doubles_every_frame_is_a_note():
    story(
        MIRROR,
        doubled(light(1, levels=bytes(512))),
        doubled(light(2, WALK)),
        expect("packets-repeated", subject="rig", severity="note", facts={"doubled": True, "universes": [1, 2]}),
        expect_silent("rate-too-high", "packets-lost"),
        expect_silent(),
    )


def test_two_cards_repeat_nothing():
    other = DESK.card("02:00:00:00:01:10").at("10.0.0.110")
    story(MIRROR, light(1), light(1, other), expect_silent("packets-repeated"), expect_silent())


# ---- S10 ----


def test_dmx_rates():
    """44 frames a second of 512 slots, 830 of 24 or fewer (E1.11-2008 table 6)."""
    assert np.allclose(dmx_rate(np.array([512, 24, 1])), [44.1, 1e6 / 1204, 1e6 / 1204], rtol=0.001)


def test_too_fast():
    story(
        MIRROR,
        stream(1, DESK, hz=60, stop=20),
        stream(2, DESK, hz=40, stop=20),
        expect(
            "rate-too-high", subject=source(DESK), severity="quality", certainty="certain", facts={"universes": [1], "slots": 512}
        ),
    )


def test_too_fast_for_half_a_line_seen_from_an_ordinary_port():
    """256 slots: 87.6 frames a second."""
    story(ORDINARY, stream(1, DESK, hz=100, stop=20, levels=bytes(256)), light(2, WALK), expect("rate-too-high"))


def test_fast_enough():
    """Full speed, half a line, priorities in between, two sources on one universe."""
    story(
        MIRROR,
        stream(1, DESK, hz=44.1, stop=20),
        stream(2, WALK, hz=80, stop=20, levels=bytes(256)),
        stream(3, POND, hz=40, stop=20),
        stream(3, POND, hz=20, start=0.01, stop=20, start_code=0xDD, first=90),
        stream(4, DESK, hz=40, stop=20),
        stream(4, BACKUP, hz=40, stop=20, priority=90),
        expect_silent("rate-too-high"),
        expect_silent(),
    )


def test_repeated_too_rarely():
    story(
        MIRROR,
        light(1, hz=1 / 2.2, stop=75),
        light(2, stop=75, hz=2),
        expect(
            "rate-too-low", subject=source(DESK), severity="soon", certainty="certain", facts={"universes": [1], "moving": False}
        ),
    )


def test_a_little_too_rarely_seen_from_an_ordinary_port():
    story(ORDINARY, light(1, hz=1 / 1.6, stop=75), light(2, WALK, stop=75, hz=5), expect("rate-too-low", severity="tidy"))


def test_movement_in_steps_is_a_hint():
    story(
        MIRROR,
        light(1, hz=8, stop=35, levels=moving),
        expect("rate-too-low", severity="tidy", certainty="hint"),
        expect_silent(),
        numbers=PATIENT,
    )


def test_slow_as_it_should_be():
    """800 to 1000 ms while nothing changes (E1.31-2018 6.6.2); also a lossy way, and an interruption."""
    story(
        MIRROR,
        light(1, hz=1, stop=75),
        light(2, hz=1.25, stop=75),
        light(3, WALK, hz=1, stop=75, lose=range(3, 75, 3)),
        light(4, hz=40, stop=3, levels=moving),
        light(4, hz=1, start=3, stop=75, first=120, levels=moving(119)),
        light(5, POND, hz=16, stop=75, levels=moving),
        light(6, POND, hz=1, stop=40),
        light(6, POND, hz=1, start=48, stop=75, first=40),
        expect_silent("rate-too-low", "rate-too-high"),
    )
