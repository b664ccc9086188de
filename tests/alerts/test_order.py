"""Stories of how packets come: loss, order, copies and rates (E1.31-2018 6.2.5, 6.6, 6.7; E1.11-2008 table 6).

Shares and counts are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from netwatch.alerts.order import dmx_rate
from tests.stories import frames
from tests.stories.boxes import BACKUP, DESK, POND, WALK
from tests.stories.playing import Event, Heard
from tests.stories.script import expect, expect_silent, listening, mark, ns, source, story, stream

MIRROR, ORDINARY = listening("mirror", laptop=None), listening("ordinary")


def moving(i: int) -> bytes:
    """A frame that differs from the one before."""
    return bytes((i % 255 + 1,)) * 512


def every_nth(n: int, stop: int) -> range:
    return range(n, stop, n)


def disordered(times: int, universe: int = 1, hz: float = 40, stop: float = 40) -> list[Event]:
    """A stream in which every so many-th packet comes behind the next one."""
    events = stream(universe, DESK, hz=hz, stop=stop)
    for at in range(times, len(events) - 1, times):
        one, other = events[at], events[at + 1]
        assert isinstance(one, Heard)
        assert isinstance(other, Heard)
        events[at], events[at + 1] = Heard(one.time, other.frame), Heard(other.time, one.frame)
    return events


def doubled(events: list[Event], apart: float = 0.00005, each: int = 1) -> list[Event]:
    """Every packet (or every so many-th) a second time."""
    return [copy for i, event in enumerate(events) if isinstance(event, Heard)
            for copy in (event, *([Heard(event.time + round(apart * 1e9), event.frame)] if i % each == 0 else []))]  # fmt: skip


# ---- S8 ----


def test_a_share_gets_lost():
    story(
        MIRROR, stream(5, DESK, stop=70, lose=every_nth(50, 2800)), stream(6, WALK, stop=70),
        expect("packets-lost", subject="universe:5", severity="quality", closed=None, facts={"all_senders": False, "who": DESK.name}),
    )  # fmt: skip


def test_all_senders_lose_seen_from_an_ordinary_port():
    story(
        ORDINARY, stream(5, DESK, stop=40, lose=every_nth(10, 1600)), stream(6, WALK, stop=40, lose=every_nth(10, 1600)),
        expect("packets-lost", subject="universe:5", severity="now", facts={"all_senders": True}),
        expect("packets-lost", subject="universe:6", severity="now", facts={"all_senders": True}),
    )  # fmt: skip


def test_bursts_in_a_running_effect():
    lost = [at + i for at in (300, 900, 1500) for i in range(3)]
    story(
        MIRROR, stream(5, DESK, stop=60, levels=moving, lose=lost), stream(6, WALK, stop=60),
        expect("packets-lost", subject="universe:5", severity="quality", facts={"bursts": 3}),
    )  # fmt: skip


@pytest.mark.parametrize(
    "events",
    [
        stream(5, DESK, stop=60, levels=moving, lose=range(300, 330)),
        stream(5, DESK, stop=60, lose=[at + i for at in (300, 1500) for i in range(3)], levels=bytes((9,)) * 512),
        [*stream(5, DESK, stop=40), *stream(5, DESK, hz=1, start=0.01, stop=40, start_code=0xDD, first=77)],
        stream(5, DESK, stop=30) + stream(5, DESK, start=30, stop=60, first=150),
    ],
    ids=["one interruption", "two gaps while nothing moves, few packets", "a counter of its own for START code DD", "a restart"],
)
def test_what_looks_like_loss(events: list[Event]):
    """A START code may be counted apart, against E1.31-2018 6.2.5."""
    story(MIRROR, events, expect_silent("packets-lost"), expect_silent())


def test_a_sender_that_counts_wrong_loses_nothing():
    """21, 23, 23, 25, 25: reported of a real sender."""
    wrong = [Heard(ns(i / 40), frames.e131(DESK, 5, i + i % 2)) for i in range(1600)]
    story(MIRROR, wrong, expect_silent("packets-lost", "packets-repeated"))


def test_what_this_laptop_dropped_is_not_the_network():
    dropping = [each for at in range(40) for each in mark(at, dropped=at * 4)]
    story(MIRROR, dropping, stream(5, DESK, stop=40, lose=every_nth(10, 1600)), expect_silent("packets-lost"), expect("capture-dropping"))


# ---- S9 ----


def test_packets_overtake_each_other():
    story(MIRROR, disordered(100), expect("packets-out-of-order", subject=source(DESK), severity="quality", certainty="certain"))


def test_packets_overtake_each_other_on_two_universes_seen_from_an_ordinary_port():
    story(
        ORDINARY, disordered(50, 1, stop=70), disordered(50, 2, stop=70), stream(3, WALK, stop=70),
        expect("packets-out-of-order", subject=source(DESK), facts={"universes": [1, 2]}),
    )  # fmt: skip


def test_few_stray_ones_and_a_restart_are_in_order():
    story(
        MIRROR, disordered(1_500, stop=60), stream(2, WALK, stop=30), stream(2, WALK, start=30, stop=60, first=1190),
        expect_silent("packets-out-of-order"), expect_silent(),
    )  # fmt: skip


def test_two_senders_with_one_identity_are_not_out_of_order():
    twin = DESK.card("02:00:00:00:01:11").at("10.0.0.111")
    story(MIRROR, stream(1, DESK, stop=40), stream(1, twin, stop=40, first=120), expect_silent("packets-out-of-order", "packets-repeated"))


def test_copies_of_some_streams():
    story(
        MIRROR, doubled(stream(1, DESK, stop=40), each=4), stream(2, WALK, stop=40),
        expect("packets-repeated", subject=source(DESK), severity="quality", facts={"universes": [1], "stuck": False}),
    )  # fmt: skip


def test_a_sender_that_does_not_count_seen_from_an_ordinary_port():
    story(
        ORDINARY, stream(1, DESK, stop=40, step=0), stream(2, WALK, stop=40),
        expect("packets-repeated", subject=source(DESK), severity="quality", facts={"stuck": True}),
        expect_silent("rate-too-low", "rate-too-high", "packets-lost"),
    )  # fmt: skip


def test_a_mirror_that_doubles_every_frame_is_a_note():
    story(
        MIRROR, doubled(stream(1, DESK, stop=40)), doubled(stream(2, WALK, stop=40, hz=20)),
        expect("packets-repeated", subject="rig", severity="note", facts={"doubled": True, "universes": [1, 2]}),
        expect_silent("rate-too-high"), expect_silent(),
    )  # fmt: skip


def test_two_cards_repeat_nothing():
    other = DESK.card("02:00:00:00:01:10").at("10.0.0.110")
    story(MIRROR, stream(1, DESK, stop=40), stream(1, other, stop=40), expect_silent("packets-repeated"), expect_silent())


# ---- S10 ----


def test_dmx_rates():
    """44 frames a second of 512 slots, 830 of 24 or fewer (E1.11-2008 table 6)."""
    assert np.allclose(dmx_rate(np.array([512, 24, 1])), [44.1, 1e6 / 1204, 1e6 / 1204], rtol=0.001)


def test_too_fast():
    story(
        MIRROR, stream(1, DESK, hz=60, stop=30), stream(2, DESK, hz=40, stop=30),
        expect("rate-too-high", subject=source(DESK), severity="quality", certainty="certain", facts={"universes": [1], "slots": 512}),
    )  # fmt: skip


def test_too_fast_for_half_a_line_seen_from_an_ordinary_port():
    """256 slots: 87.6 frames a second."""
    story(ORDINARY, stream(1, DESK, hz=100, stop=30, levels=bytes(256)), stream(2, WALK, stop=30), expect("rate-too-high"))


@pytest.mark.parametrize(
    "events",
    [
        stream(1, DESK, hz=44.1, stop=40),
        stream(1, DESK, hz=80, stop=40, levels=bytes(256)),
        [*stream(1, DESK, hz=40, stop=40), *stream(1, DESK, hz=20, start=0.01, stop=40, start_code=0xDD, first=90)],
        [*stream(1, DESK, hz=40, stop=40), *stream(1, BACKUP, hz=40, stop=40, priority=90)],
    ],
    ids=["full speed", "half a line", "priorities in between", "two sources"],
)
def test_fast_enough(events: list[Event]):
    story(MIRROR, events, expect_silent("rate-too-high"), expect_silent())


def test_repeated_too_rarely():
    story(
        MIRROR, stream(1, DESK, hz=1 / 2.2, stop=100), stream(2, DESK, stop=100),
        expect("rate-too-low", subject=source(DESK), severity="soon", certainty="certain", facts={"universes": [1], "moving": False}),
    )  # fmt: skip


def test_a_little_too_rarely_seen_from_an_ordinary_port():
    story(ORDINARY, stream(1, DESK, hz=1 / 1.6, stop=100), stream(2, WALK, stop=100), expect("rate-too-low", severity="tidy"))


def test_movement_in_steps_is_a_hint():
    story(MIRROR, stream(1, DESK, hz=8, stop=75, levels=moving), expect("rate-too-low", severity="tidy", certainty="hint"), expect_silent())


def still_after(seconds: float) -> Callable[[int], bytes]:
    return lambda i: moving(min(i, int(seconds * 40)))


@pytest.mark.parametrize(
    "events",
    [
        stream(1, DESK, hz=1, stop=100),
        stream(1, DESK, hz=1.25, stop=100, levels=bytes((70,)) * 512),
        stream(1, DESK, hz=1, stop=100, lose=every_nth(3, 100)),
        [*stream(1, DESK, hz=40, stop=20, levels=still_after(19)), *stream(1, DESK, hz=1, start=20, stop=100, first=800, levels=moving(760))],
        stream(1, DESK, hz=20, stop=60, levels=moving),
        [*stream(1, DESK, hz=1, stop=50), *stream(1, DESK, hz=1, start=58, stop=100, first=50)],
    ],
    ids=["once a second", "every 800 ms", "a lossy way", "a cue and then a standing look", "20 a second", "an interruption"],
)
def test_slow_as_it_should_be(events: list[Event]):
    """800 to 1000 ms while nothing changes (E1.31-2018 6.6.2)."""
    story(MIRROR, events, stream(9, POND, stop=100), expect_silent("rate-too-low", "rate-too-high"))
