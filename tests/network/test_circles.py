"""What comes again and again is counted and left out, whatever the rate; what differs is told apart. The project's own law."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace
from random import Random

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.decode.columns import decode
from netwatch.network.clock import TICK
from netwatch.network.floods import Counted, Flooded, Floods
from netwatch.packets.batch import BatchBuilder, PacketBatch, Port
from netwatch.story.play import Player
from tests.stories import frames
from tests.stories.boxes import DESK, ORCHARD, POND, WALK
from tests.stories.playing import START, Event, Heard, difference, picture, play
from tests.stories.script import at, every, ns, stream

MOST, LOUD = 25, 250
SAME = frames.arp(ORCHARD, "10.0.0.1")


def together(*heard: bytes, seconds: float = 1.05) -> list[Event]:
    """All within a few ms of one tick."""
    return [Heard(ns(seconds) + i * 1_000, frame) for i, frame in enumerate(heard)]


def loaded(player: Player) -> int:
    """All packets that the load tells of."""
    return sum(int(load.packets.sum()) for load in player.network.load.total.values())


def test_of_many_copies_the_first_few_are_folded() -> None:
    player = play([*at(0, frames.announce(POND)), *together(*[SAME] * 1_000), *together(SAME, seconds=2)])
    claims = player.network.claims
    assert int(claims.count[: claims.table.size].sum()) == 1 + MOST + 1
    assert player.network.circles.floods.left_out == 1_000 - MOST
    assert loaded(player) == player.network.packets == 1_002


def test_what_differs_is_not_left_out() -> None:
    """In one octet, in the last ones, in length alone."""
    several = [frames.chatter(ORCHARD, size=300 + i) for i in range(20)]
    several += [frames.chatter(ORCHARD, size=300)[:-1] + bytes((i,)) for i in range(1, 200)]
    several += [frames.arp(ORCHARD, f"10.0.{i}.1") for i in range(200)]
    player = play(together(*several))
    assert player.network.circles.floods.left_out == 0
    assert int(player.network.claims.count[:1].sum()) == len(several)


def test_light_is_never_left_out() -> None:
    player = play([*stream(1, DESK, 40, stop=1), *together(*[frames.e131(DESK, 1, 200)] * 500)])
    assert int(player.network.streams.packets[0]) == 540
    assert player.network.circles.floods.left_out == 0


def poisoned(batch: PacketBatch, seed: int) -> PacketBatch:
    """Other octets behind each captured length."""
    random, data = Random(seed), batch.data.copy()
    free = np.ones(len(data), bool)
    for begin, size in zip(batch.start.tolist(), batch.caplen.tolist(), strict=True):
        free[begin : begin + size] = False
    free[-256:] = False
    data[free] = [random.randrange(256) for _ in range(int(free.sum()))]
    return replace(batch, data=data)


def test_octets_behind_the_captured_ones_do_not_matter() -> None:
    """Short frames lie with gaps between them."""
    builder = BatchBuilder((Port("eth0", 1),))
    for i in range(60):
        builder.add(SAME + bytes(30), START + i * 1_000)
    batch = builder.take()
    batch = replace(batch, caplen=np.full(60, len(SAME), np.int32))
    time = batch.time
    outs = []
    for seed in range(3):
        some = poisoned(batch, seed)
        out, alone = Floods(MOST, LOUD).look(some, decode(some), time, time // TICK)
        assert out is not None
        outs.append(out.tolist())
        assert alone
    assert outs[0] == outs[1] == outs[2] == [i >= MOST for i in range(60)]


def test_it_does_not_matter_how_a_storm_is_cut() -> None:
    storm = together(*[SAME, frames.announce(WALK), frames.dhcp(frames.DISCOVER, POND)] * 60)
    events = sorted([*stream(1, DESK, 20, stop=4), *storm, *every(1, frames.announce(POND), stop=4)], key=lambda each: each.time)
    whole = play(events)
    for step in (1, 7, 41):
        cut = play(events, cut=lambda place, step=step: place % step == 0)
        assert not difference(picture(whole), picture(cut))
        assert cut.network.circles.floods.left_out == whole.network.circles.floods.left_out > 0


def test_what_is_counted_takes_room_by_its_rows_whatever_the_ticks() -> None:
    """Hundreds of ticks with much in them wait at once: a file is read ahead. A bucket takes 50 octets, twice."""
    builder, begin = BatchBuilder((Port("eth0", 1),)), START - START % TICK
    for i in range(400 * MOST):
        builder.add(SAME, begin + i * TICK // MOST)
    batch, floods = builder.take(), Floods(MOST, LOUD)
    tracemalloc.start()
    try:
        _, alone = floods.look(batch, decode(batch), batch.time, batch.time // TICK)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert len(alone) == 400
    assert most < 1_000 * batch.rows


@settings(max_examples=100, deadline=None)
@given(st.lists(st.lists(st.integers(0, 5), min_size=1, max_size=12), max_size=6))
def test_rows_are_counted_by_bucket_like_in_a_dict(parts: list[list[int]]) -> None:
    """Number, first and last time, newest packet and its sender."""
    counted, like, n = Counted(), dict[int, list[int]](), 0
    for part in parts:
        bucket, number = np.array(part, np.uint16) * 13_107, np.arange(n, n + len(part))
        n += len(part)
        before = []
        for each, row in zip(part, number.tolist(), strict=True):
            rows = like.setdefault(13_107 * each, [])
            before.append(len(rows))
            rows.append(row)
        flooded = Flooded(bucket, bucket, number % 3, number.astype(np.uint64) % 5, 100 + number, number)
        assert counted.add(bucket, flooded).tolist() == before
    columns = (counted.bucket, counted.count, counted.first, counted.last, counted.n, counted.segment, counted.speaker)
    assert list(zip(*(column.tolist() for column in columns), strict=True)) == [
        (each, len(rows), 100 + rows[0], 100 + rows[-1], rows[-1], rows[-1] % 3, rows[-1] % 5)
        for each, rows in sorted(like.items())
    ]


# ---- copies of light ----


def counts(events: list[Event]) -> dict[str, int]:
    streams = play(sorted(events, key=lambda event: event.time)).network.streams
    return {name: int(getattr(streams, name)[0]) for name in ("lost", "late", "repeated", "jumps")}


def copied(events: list[Event], places: range, later_ms: float) -> list[Event]:
    return [*events, *(replace(events[place], time=events[place].time + round(later_ms * 1e6)) for place in places)]  # type: ignore[type-var]


def test_a_copy_that_comes_behind_others_is_a_copy_not_late() -> None:
    """Nor does it take back a loss (E1.31-2018 6.7.2 has receivers throw it away)."""
    light = stream(1, DESK, 40, stop=4, lose=(50,))
    assert counts(copied(light, range(80, 90), 60)) == {"lost": 1, "late": 0, "repeated": 10, "jumps": 0}


def test_what_comes_late_for_the_first_time_is_late() -> None:
    light = stream(1, DESK, 40, stop=4)
    moved = [replace(event, time=event.time + (60_000_000 if i % 40 == 20 else 0)) for i, event in enumerate(light)]  # type: ignore[type-var]
    assert counts(moved) == {"lost": 0, "late": 4, "repeated": 0, "jumps": 0}


def test_start_codes_that_are_counted_apart_are_no_copies() -> None:
    both = [*stream(1, DESK, 40, stop=4), *stream(1, DESK, 40, start=0.01, stop=4, start_code=0xDD)]
    streams = play(sorted(both, key=lambda event: event.time)).network.streams
    assert (int(streams.coded[0]), int(streams.lost_split[0])) == (159, 0)


def test_a_number_that_is_back_after_a_whole_round_is_new() -> None:
    """256 numbers at 1,000 Hz last 0.256 s."""
    assert counts(stream(1, DESK, 1_000, stop=3, levels=bytes(4))) == {"lost": 0, "late": 0, "repeated": 0, "jumps": 0}
