"""Habits in columns (no outside source)."""

from __future__ import annotations

import numpy as np

from netwatch.network.clock import BUCKET_TICKS, TICK
from netwatch.network.habits import ASKS, Habits
from netwatch.network.network import OTHERS
from netwatch.numbers import DEFAULTS


def asked(habits: Habits, *words: tuple[int, int, int, int], tick: int = 0) -> None:
    """(segment, MAC, address, target) of each question, all in one tick."""
    segment, mac, address, target = (np.array(column, np.uint64) for column in zip(*words, strict=True))
    rows = np.arange(len(words))
    columns = (mac << np.uint64(16)) | np.uint64(ASKS), (segment << np.uint64(32)) | address, target
    times, ticks = np.full(len(words), tick * TICK), np.full(len(words), tick)
    habits.fold((rows, columns), times, ticks, 1, 0, len(words))


def test_every_mac_and_segment_is_given_back_as_it_was() -> None:
    """Also those with the highest bit set: a MAC from 80:... on, the segment of all that exceed the table."""
    words = [(OTHERS, 0xFEDCBA987654, 0xC0A80001, 0xC0A80002), (7, 0x020000000001, 10, 11)]
    habits = Habits(DEFAULTS)
    asked(habits, *words)
    held = habits.held(ASKS)
    assert list(zip(*(each.tolist() for each in (held.segment, held.mac, held.address, held.target)), strict=True)) == words


def test_newcomers_beyond_a_fifth_leave_on_the_grid() -> None:
    habits = Habits(DEFAULTS)
    many = habits.table.cap // 5 + 10
    asked(habits, *((7, 1 + n, 10, 11) for n in range(many)))
    habits.evict(BUCKET_TICKS - 1, 0)
    assert (habits.table.held, habits.table.evicted) == (many - 10, 10)
    assert habits.held(ASKS).mac.tolist() == list(range(11, many + 1))
