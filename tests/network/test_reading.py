"""Which records are read, which only counted: so many of a kind and tick, fewer of one sender (a law of the project's own)."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from random import Random
from unittest.mock import patch

import pytest

from netwatch.network import reading
from netwatch.network.clock import TICK
from netwatch.numbers import DEFAULTS
from tests.stories import frames
from tests.stories.artnet_frames import poll
from tests.stories.boxes import ORCHARD, POND, WALK, Box
from tests.stories.playing import START, Cut, Event, Heard, cut_at, play

CAPS = replace(DEFAULTS, cap_records_tick=7, cap_records_mac=3)
BOXES = (ORCHARD, POND, WALK)


def crowd(random: Random, packets: int) -> tuple[list[Event], set[int]]:
    """Records of two kinds, some ticks full of them; and the packet numbers of those that are to be read."""
    events: list[Event] = []
    of_kind, of_mac, within = Counter[tuple[int, int]](), Counter[tuple[int, int, Box]](), set[int]()
    time = START
    for n in range(1, packets + 1):
        time += random.choices((1, 1_000_000, 30_000_000, 2 * TICK), (9, 9, 5, 1))[0]
        box, kind = random.choice(BOXES), random.randrange(2)
        # No frame twice: what comes again and again is left out before.
        events.append(Heard(time, poll(box, n & 15) if kind else frames.report(box, frames.universe_group(n))))
        tick = time // TICK
        of_kind[tick, kind] += 1
        if of_kind[tick, kind] <= CAPS.cap_records_tick:
            of_mac[tick, kind, box] += 1
            if of_mac[tick, kind, box] <= CAPS.cap_records_mac:
                within.add(n)
    return events, within


@pytest.mark.parametrize("ahead", [1, 3, 512])
@pytest.mark.parametrize("cuts", [0, 5, 300])
def test_as_many_are_read_as_the_caps_say_however_far_ahead(ahead: int, cuts: int) -> None:
    random = Random(ahead * 1_000 + cuts)
    events, within = crowd(random, 400)
    cut: Cut = cut_at({random.randrange(400) for _ in range(cuts)})
    with patch.object(reading, "_AHEAD", ahead):
        network = play(events, numbers=CAPS, cut=cut).network
    assert set(network.raw) == within
    assert network.reading.storm == 400 - len(within) > 40


def test_what_a_record_says_of_a_box_is_told_once_it_is_folded() -> None:
    """Records of later ticks were read with it."""
    events = [Heard(START + i * TICK, frames.dhcp(frames.DISCOVER, ORCHARD, host_name=f"boat {i}")) for i in range(3)]
    player = play(events)
    [(_, box)] = player.network.claims.boxes.items()
    assert (box.names, box.first, box.last) == ({"DHCP": "boat 2"}, events[0].time, events[2].time)
