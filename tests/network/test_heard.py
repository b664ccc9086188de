"""What was heard of keys, against a dict (no outside source)."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.network.heard import Heard

CAP = 5
WORDS = st.lists(st.tuples(st.integers(0, 7), st.integers(0, 3)), max_size=40)
"""(key, ticks since the word before)."""


@settings(max_examples=200, deadline=None)
@given(WORDS, st.sets(st.integers(1, 39)))
def test_first_last_and_count_however_it_is_cut(words: list[tuple[int, int]], cuts: set[int]) -> None:
    """The first five keys are held; words of others are refused."""
    keys, tick = np.array([key for key, _ in words], np.uint64), np.cumsum([step for _, step in words], dtype=np.int64)
    heard, rows = Heard("keys", 1, CAP), dict[int, list[int]]()
    for row, key in enumerate(keys.tolist()):
        if key in rows or len(rows) < CAP:
            rows.setdefault(key, []).append(row)
    for begin, end in pairwise([0, *sorted(cut for cut in cuts if cut < len(words)), len(words)]):
        number = np.arange(begin, end)
        heard.note([keys[begin:end]], 100 + number, 1_000 + number, tick[begin:end])
    assert heard.table.refused == len(words) - sum(map(len, rows.values()))
    for key, mine in rows.items():
        at = heard.table.get(key)
        told = (heard.count, heard.first, heard.last, heard.first_n, heard.last_n, heard.table.last_tick)
        first, last = mine[0], mine[-1]
        assert [int(each[at]) for each in told] == [len(mine), 1_000 + first, 1_000 + last, 100 + first, 100 + last, tick[last]]


def test_who_comes_in_place_of_another_begins_anew() -> None:
    heard = Heard("keys", 1, CAP)
    for tick, key in enumerate((1, 1, 2)):
        heard.note([np.array([key], np.uint64)], np.array([tick]), np.array([tick]), np.array([tick]))
    assert heard.evict(2, 2)
    assert (heard.table.get(1), heard.table.get(2)) == (-1, 1)
    heard.note([np.array([3], np.uint64)], np.array([9]), np.array([9]), np.array([9]))
    assert heard.table.get(3) == 0
    assert (int(heard.count[0]), int(heard.first[0]), int(heard.first_n[0])) == (1, 9, 9)
    assert not Heard("keys", 1, CAP).evict(2, 2)
