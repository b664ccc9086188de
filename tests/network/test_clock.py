"""The fold clock: a running maximum of capture time; holes and clocks set back. The project's own rules (no outside source)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.network.clock import NS, SET_BACK_ROWS, TICK, ClockEvent, FoldClock, ticks_of
from netwatch.numbers import DEFAULTS
from netwatch.packets.batch import BatchBuilder, Mark, PacketBatch, Port

T0 = 1_795_627_331 * NS
PORTS = (Port("eth0", 1), Port("eth1", 1))


def batch(times: Iterable[float], ports: Iterable[int] = ()) -> PacketBatch:
    """Packets at these seconds after the beginning."""
    builder, ports = BatchBuilder(PORTS), iter(ports)
    for seconds in times:
        builder.add(b"", T0 + round(seconds * NS), next(ports, 0))
    return builder.take()


def fold(clock: FoldClock, *times: float, ports: Iterable[int] = ()) -> list[float]:
    """Fold times in seconds after the beginning."""
    return [(each - T0) / NS for each in clock.batch(batch(times, ports))[0].tolist()]


def mark(seconds: float) -> Mark:
    return Mark(T0 + round(seconds * NS), 0, None, None, None, PORTS)


def test_time_never_goes_back() -> None:
    clock = FoldClock(DEFAULTS)
    assert fold(clock, 1, 3, 2, 3, 5) == [1, 3, 3, 3, 5]
    assert fold(clock, 4.5, 6) == [5, 6]
    assert clock.behind == 0


def test_far_behind_is_counted() -> None:
    clock = FoldClock(DEFAULTS)
    assert fold(clock, 10, 8, 7.9, 11) == [10, 10, 10, 11]
    assert clock.behind == 1


def test_so_many_behind_in_a_row_mean_that_the_clock_was_set_back() -> None:
    clock = FoldClock(DEFAULTS)
    fold(clock, 3600)
    times, events = clock.batch(batch(range(SET_BACK_ROWS + 10)))
    assert events == [ClockEvent("clock-set-back", T0 + 3600 * NS, T0 + (SET_BACK_ROWS - 1) * NS, SET_BACK_ROWS - 1)]
    assert times.tolist() == [T0 + 3600 * NS] * SET_BACK_ROWS + [T0 + (3600 + i) * NS for i in range(1, 11)]
    assert clock.behind == SET_BACK_ROWS


def test_a_packet_that_is_right_ends_the_row() -> None:
    clock = FoldClock(DEFAULTS)
    fold(clock, 3600)
    for _ in range(3):
        assert clock.batch(batch([0] * (SET_BACK_ROWS - 1)))[1] == []
        assert clock.batch(batch([3600]))[1] == []


def test_each_port_has_a_row_of_its_own() -> None:
    """Two interfaces: the clock of the one is behind."""
    clock = FoldClock(DEFAULTS)
    fold(clock, 3600)
    pairs = [(3600, 0), (0, 1)] * SET_BACK_ROWS
    events = clock.batch(batch([time for time, _ in pairs], [port for _, port in pairs]))[1]
    assert [(each.what, each.row) for each in events] == [("clock-set-back", 2 * SET_BACK_ROWS - 1)]


def test_a_long_pause_is_a_hole() -> None:
    clock = FoldClock(DEFAULTS)
    times, events = clock.batch(batch([0, 600, 1200.5]))
    assert events == [ClockEvent("hole", T0 + round(1200.5 * NS), T0 + 600 * NS, 2)]
    assert (times - T0).tolist() == [0, 600 * NS, round(1200.5 * NS)]


def test_where_marks_come_a_short_pause_is_one() -> None:
    clock = FoldClock(DEFAULTS)
    for seconds in (0, 1, 2):
        assert clock.mark(mark(seconds)) == (T0 + seconds * NS, [])
    assert [each.what for each in clock.batch(batch([7.1]))[1]] == ["hole"]


def test_a_few_late_marks_do_not_make_it_short() -> None:
    clock = FoldClock(DEFAULTS)
    clock.mark(mark(0))
    clock.mark(mark(60))
    assert clock.batch(batch([90]))[1] == []


def test_times_that_can_not_be_are_counted_and_the_one_before_is_used() -> None:
    clock = FoldClock(DEFAULTS)
    fold(clock, 5)
    impossible = batch([0, 0, 6])
    strange = replace(impossible, time=np.array([0, 8_000_000_000 * NS, T0 + 6 * NS]))
    times, events = clock.batch(strange)
    assert ((times - T0) // NS).tolist() == [5, 5, 6]
    assert (clock.unusable, events) == (2, [])


def test_the_first_time_that_can_be_used_begins_the_clock() -> None:
    clock = FoldClock(DEFAULTS)
    times, events = clock.batch(replace(batch([0, 0]), time=np.array([0, T0])))
    assert times[1] == T0
    assert [(each.what, each.at, each.row) for each in events] == [("begin", T0, 1)]


PAUSES = st.sampled_from((0.0, 0.01, 0.3, -0.5, -3.0, 5.5, 601.0, -5000.0))
STEPS = st.lists(st.tuples(PAUSES, st.integers(0, 1)), min_size=1, max_size=200)


@settings(max_examples=100, deadline=None)
@given(STEPS, st.sets(st.integers(1, 199), max_size=5), st.integers(0, 100))
def test_batches_may_be_cut_anywhere(steps: list[tuple[float, int]], cuts: set[int], behind: int) -> None:
    times = np.cumsum([pause for pause, _ in steps]).tolist() + [0.0] * behind
    ports = [port for _, port in steps] + [0] * behind
    whole, pieces = FoldClock(DEFAULTS), FoldClock(DEFAULTS)
    expected, happened = whole.batch(batch(times, ports))
    edges = [0, *sorted(cut for cut in cuts if cut < len(times)), len(times)]
    found, events = [], []
    for a, b in pairwise(edges):
        folded, part = pieces.batch(batch(times[a:b], ports[a:b]))
        found += folded.tolist()
        events += [replace(each, row=each.row + a) for each in part]
    assert (found, events) == (expected.tolist(), happened)
    assert (pieces.now, pieces.offset, pieces.behind) == (whole.now, whole.offset, whole.behind)
    assert (np.diff(expected) >= 0).all()


@given(st.lists(st.sampled_from((0, 1, TICK // 100, TICK // 3, TICK, 3 * TICK + 1, 1_000 * TICK)), min_size=1, max_size=300))
def test_ticks_are_those_of_a_division(pauses: list[int]) -> None:
    time = T0 + np.cumsum(pauses)
    assert ticks_of(time).tolist() == (time // TICK).tolist()
