"""The table of keys against a dict (no outside source), and its law of leaving."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.network.clock import BUCKET_TICKS
from netwatch.network.keys import AGE_TICKS, SETTLED_SECONDS, KeyTable

GRID = BUCKET_TICKS - 1
"""A tick that ends on the 10 s grid."""
KEYS = st.tuples(st.integers(0, 3), st.integers(0, 3))
ACTS = st.lists(st.one_of(st.tuples(st.just("admit"), KEYS), st.tuples(st.just("free"), KEYS)), max_size=60)


def columns(*keys: tuple[int, ...]) -> list[np.ndarray]:
    """Keys as uint64 columns."""
    return [np.array(column, np.uint64) for column in zip(*keys, strict=True)]


def filled(cap: int, count: int) -> KeyTable:
    """A table that holds keys (0, 1) to (0, count)."""
    table = KeyTable("keys", 2, cap)
    for n in range(1, count + 1):
        table.admit(columns((0, n)), 0, n, n)
    return table


class OneHash(KeyTable):
    """All keys collide."""

    def hash(self, columns):  # type: ignore[no-untyped-def]
        return np.zeros(len(columns[0]), np.uint64)


@settings(max_examples=100, deadline=None)
@given(ACTS, st.sampled_from([KeyTable, OneHash]))
def test_like_a_dict_with_a_cap(acts: list[tuple[str, tuple[int, int]]], kind: type[KeyTable]) -> None:
    table, model, refused = kind("keys", 2, 9), dict[tuple[int, int], int](), 0
    everything = [(a, b) for a in range(4) for b in range(4)]
    for n, (act, key) in enumerate(acts):
        if act == "free" and key in model:
            table.free(np.array([model.pop(key)]), n)
        elif act == "admit":
            given_id = table.admit(columns(key), 0, n, n)
            if key not in model and len(model) == 9:
                refused += 1
                assert given_id == -1
            else:
                assert given_id == model.setdefault(key, given_id)
        assert table.find(columns(*everything)).tolist() == [model.get(each, -1) for each in everything]
    assert (table.held, table.refused) == (len(model), refused)
    assert len(set(model.values())) == len(model)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(st.lists(KEYS, min_size=1, max_size=12), st.sets(KEYS, max_size=4)), max_size=6),
       st.sampled_from([KeyTable, OneHash]))
def test_many_at_once_are_as_one_by_one(turns: list[tuple[list[tuple[int, int]], set[tuple[int, int]]]],
                                        kind: type[KeyTable]) -> None:
    """Ids, refusals and what is held; keys go between the turns."""
    one, many, n = kind("keys", 2, 9), kind("keys", 2, 9), 0
    everything = columns(*((a, b) for a in range(4) for b in range(4)))
    for keys, leaving in turns:
        numbers = np.arange(n, n + len(keys))
        n += len(keys)
        known = set(one.find(columns(*keys)).tolist())
        singly = [one.admit(columns(key), 0, int(number), 10 * int(number)) for key, number in zip(keys, numbers, strict=True)]
        ids, new = many.admit_all(columns(*keys), numbers, 10 * numbers)
        assert ids.tolist() == singly
        assert [keys[row] for row in new.tolist()] == list(dict.fromkeys(
            key for key, each in zip(keys, singly, strict=True) if each >= 0 and each not in known
        ))
        for table in (one, many):
            gone = table.find(columns(*leaving)) if leaving else np.zeros(0, np.int64)
            table.free(gone[gone >= 0], n)
        for name in ("size", "held", "refused", "evicted", "first_hit"):
            assert getattr(one, name) == getattr(many, name)
        assert one.find(everything).tolist() == many.find(everything).tolist()
        assert (one.born[: one.size] == many.born[: many.size])[one.used[: one.size]].all()


def test_a_full_table_says_when_it_first_refused() -> None:
    table = filled(3, 3)
    assert [table.admit(columns((9, n)), 0, n, 100 + n) for n in range(2)] == [-1, -1]
    assert (table.refused, table.first_hit) == (2, 100)


def test_ids_are_given_by_first_appearance_and_come_again() -> None:
    table = filled(9, 3)
    table.free(np.array([1]), 7)
    assert table.admit(columns((5, 5)), 0, 4, 4) == 1
    assert (table.size, table.held, table.evicted, table.first_hit) == (3, 3, 1, 7)


def test_an_entry_settles_in_its_third_second() -> None:
    table = filled(9, 1)
    for tick in (0, 1, 2, 3, 4, 4, 8):
        assert not table.settled[0]
        settled = table.touch(np.array([0]), np.array([tick]))
        assert settled.tolist() == ([0] if tick == 8 else [])
    assert table.settled[0]
    assert table.touch(np.array([0]), np.array([12])).tolist() == []
    assert table.last_tick[0] == 12
    assert SETTLED_SECONDS == 3


def test_an_entry_seen_often_in_a_second_is_as_one_seen_once() -> None:
    table = filled(9, 1)
    for tick in (0, 4):
        assert table.touch(np.zeros(5, np.int64), np.full(5, tick)).tolist() == []
    assert table.touch(np.zeros(5, np.int64), np.full(5, 8)).tolist() == [0]


def test_who_settled_is_told_by_the_first_row_of_each_by_id() -> None:
    table = filled(9, 3)
    table.touch(np.array([0, 0, 0]), np.array([0, 4, 8]))
    assert table.touch(np.array([2, 1, 0, 2, 1, 2]), np.array([12, 12, 12, 16, 16, 20])).tolist() == [0]
    assert table.touch(np.array([0, 2, 1, 1]), np.array([24, 24, 24, 25])).tolist() == [2]
    assert table.last_tick[:3].tolist() == [24, 25, 24]


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 4), st.integers(0, 3)), max_size=40), st.sets(st.integers(0, 40)))
def test_many_ticks_at_once_are_as_tick_by_tick(steps: list[tuple[int, int]], cuts: set[int]) -> None:
    """An id given twice in a tick counts once; ids that settled, and the newest tick of each."""
    ids, tick = np.array([each for each, _ in steps], np.int64), np.cumsum([step for _, step in steps], dtype=np.int64)
    one, many, seen = filled(9, 5), filled(9, 5), dict[int, set[int]]()
    settled = dict[int, int]()
    for row, (each, when) in enumerate(zip(ids.tolist(), tick.tolist(), strict=True)):
        one.touch(ids[row : row + 1], tick[row : row + 1])
        seen.setdefault(each, set()).add(when // 4)
        if len(seen[each]) == 3:
            settled.setdefault(each, row)
    bounds = [0, *sorted(cut for cut in cuts if 0 < cut < len(ids)), len(ids)]
    for begin, end in pairwise(bounds):
        rows = many.touch(ids[begin:end], tick[begin:end])
        came = {each for each, row in settled.items() if begin <= row < end}
        assert rows.tolist() == [ids[begin:end].tolist().index(each) for each in sorted(came)]
    for table in (one, many):
        assert {each: int(table.last_tick[each]) for each in seen} == dict(zip(ids.tolist(), tick.tolist(), strict=True))
        assert np.flatnonzero(table.settled).tolist() == sorted(settled)


def test_newcomers_beyond_a_fifth_leave_the_oldest_first() -> None:
    table = filled(20, 10)
    assert table.overdue(0).tolist() == [0, 1, 2, 3, 4, 5]
    assert filled(20, 4).overdue(0).tolist() == []


@pytest.mark.parametrize("tick", [GRID, GRID + BUCKET_TICKS])
def test_a_flood_never_pushes_out_who_is_settled(tick: int) -> None:
    table = filled(20, 20)
    table.settled[:8] = True
    table.last_tick[:8] = tick
    assert table.overdue(tick).tolist() == list(range(8, 16))


def test_the_settled_leave_by_age_and_only_when_the_table_fills() -> None:
    """Looked at on the grid only: stretches end there, however the input was cut."""
    table = filled(20, 12)
    table.settled[:12] = True
    tick = AGE_TICKS + 10 * BUCKET_TICKS + GRID
    table.last_tick[:12] = tick
    table.last_tick[:2] = tick - AGE_TICKS - 1, tick - AGE_TICKS
    assert table.overdue(tick).tolist() == [0]
    assert table.overdue(tick - 1).tolist() == []
    table.free(np.array([10, 11]), 0)
    assert table.overdue(tick).tolist() == []


def test_it_grows() -> None:
    table = filled(100, 100)
    assert table.find(columns(*((0, n) for n in range(1, 101)))).tolist() == list(range(100))
