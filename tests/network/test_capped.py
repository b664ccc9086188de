"""The capped dictionary: newcomers first out, the settled by age (no outside source)."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from netwatch.network.capped import Capped
from netwatch.network.clock import BUCKET_TICKS, NS, TICK

TEN = BUCKET_TICKS * TICK
"""A tick on the 10 s grid ends at its multiples."""


def fill(table: Capped[int, int], keys: range, time: int = 0) -> None:
    """Each key's value is its double."""
    for key in keys:
        table.touch(key, time, lambda key=key: 2 * key)


def settled(table: Capped[int, int], *keys: int, at: int = 0) -> None:
    """Seen in three different seconds."""
    for second in range(3):
        for key in keys:
            table.touch(key, at + second * NS, lambda: 0)


def test_a_value_is_made_once() -> None:
    table: Capped[int, list[int]] = Capped("things", 5)
    made = table.touch(1, 0, list)
    assert table.touch(1, 9, list) is made
    assert table.get(1) is made
    assert table.get(2) is None
    assert list(table.items()) == [(1, made)]


def test_the_full_table_refuses_and_says_when() -> None:
    table: Capped[int, int] = Capped("things", 3)
    fill(table, range(3))
    assert table.touch(9, 77, lambda: 9) is None
    assert table.touch(9, 88, lambda: 9) is None
    assert (len(table), table.held, table.refused, table.first_hit) == (3, 3, 2, 77)


def test_a_flood_churns_newcomers() -> None:
    table: Capped[int, int] = Capped("things", 20)
    settled(table, 1, 2)
    fill(table, range(10, 28))
    table.evict(3 * NS)
    assert list(table) == [1, 2, 24, 25, 26, 27]
    assert (table.evicted, table.first_hit) == (14, 3 * NS)


def test_two_seconds_are_not_enough() -> None:
    table: Capped[int, int] = Capped("things", 10)
    for time in (0, NS - 1, NS, 2 * NS - 1):
        table.touch(1, time, lambda: 0)
    fill(table, range(10, 12))
    table.evict(2 * NS)
    assert list(table) == [10, 11]


def test_something_else_may_vouch() -> None:
    table: Capped[int, int] = Capped("things", 10)
    fill(table, range(1, 4))
    table.establish(1, 5)
    table.evict(9)
    assert list(table) == [1, 2, 3]
    fill(table, range(4, 9))
    table.evict(9)
    assert list(table) == [1, 7, 8]


def test_the_settled_leave_by_age_on_the_grid_when_it_fills() -> None:
    table: Capped[int, int] = Capped("things", 10, age_ns=60 * NS)
    settled(table, *range(6))
    settled(table, 5, at=30 * NS)
    table.evict(70 * NS + TICK)
    assert len(table) == 6
    table.evict(7 * TEN)
    assert list(table) == [5]


def test_half_full_keeps_the_old() -> None:
    table: Capped[int, int] = Capped("things", 10, age_ns=60 * NS)
    settled(table, *range(5))
    table.evict(7 * TEN)
    assert len(table) == 5


STEPS = st.tuples(st.integers(0, 30), st.integers(0, 3), st.sampled_from(("touch", "touch", "establish", "evict")))


@given(st.lists(STEPS, max_size=200))
def test_newcomers_are_those_that_were_not_seen_in_three_seconds(steps: list[tuple[int, int, str]]) -> None:
    """Counted anew at each end of a tick."""
    table: Capped[int, int] = Capped("things", 15)
    seen: dict[int, set[int]] = {}
    time = 0
    for key, pause, what in steps:
        time += pause * NS // 2
        if what == "evict":
            table.evict(time)
            newcomers = [each for each in seen if len(seen[each]) < 3]
            seen = {each: seconds for each, seconds in seen.items() if each not in newcomers[: max(0, len(newcomers) - 3)]}
        elif what == "touch" and table.touch(key, time, int) is not None:
            seen.setdefault(key, set()).add(time // NS)
        elif what == "establish" and key in seen:
            table.establish(key, time)
            seen[key] |= {-1, -2, -3}
        assert list(table) == list(seen)
