"""The bad cable's timing, without a network. A frame's time on a line: its bits by the line's rate (IEEE 802.3)."""

from __future__ import annotations

import random

import pytest
from rig.cable import HELD_BACK, QUEUE, Manner, Way

FRAME = bytes(125)
"""1,000 bits."""


def passed_on(manner: Manner, *times: float) -> list[tuple[float, int]]:
    """(when it leaves, which it was) of frames that come at these seconds, in the order in which they leave."""
    way = Way(random.Random(7))
    for number, time in enumerate(times):
        way.take(bytes([number]) + FRAME[1:], manner, time)
    return [(due, frame[0]) for due, _, frame in sorted(way.waiting)]


def leaving(manner: Manner, *times: float) -> list[float]:
    return [due for due, _ in passed_on(manner, *times)]


def test_a_good_cable_passes_on_at_once() -> None:
    assert leaving(Manner(), 1.0, 2.0) == [1.0, 2.0]


def test_delay_is_even() -> None:
    assert leaving(Manner(delay=20), 1.0, 2.0) == pytest.approx([1.02, 2.02])


def test_jitter_keeps_the_order() -> None:
    times = [1 + number / 100 for number in range(100)]
    left = passed_on(Manner(jitter=90), *times)
    assert [number for _, number in left] == list(range(100))
    late = [due - time for (due, _), time in zip(left, times, strict=True)]
    assert 0 <= min(late) < 0.02
    assert 0.05 < max(late) <= 0.09


def test_a_few_are_overtaken() -> None:
    """By those of the next 60 ms."""
    left = passed_on(Manner(reorder=5), *(1 + number / 40 for number in range(200)))
    places = [number for _, number in left]
    held = [number for place, number in enumerate(places) if number < place]
    assert 3 <= len(held) <= 25
    assert all(places.index(number) - number <= HELD_BACK * 40 + len(held) for number in held)


def test_a_slow_line_sends_one_after_the_other() -> None:
    """1,000 bits at 100 kbit/s: 10 ms each."""
    assert leaving(Manner(rate=100), 1.0, 1.0, 1.0) == pytest.approx([1.01, 1.02, 1.03])


def test_what_a_slow_line_cannot_hold_is_thrown_away() -> None:
    left = leaving(Manner(rate=100), *[1.0] * 100)
    assert len(left) < 30
    assert left[-1] == pytest.approx(1 + QUEUE, abs=0.02)
