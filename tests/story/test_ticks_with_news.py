"""Light of ticks with news is sorted once for the whole batch: it must not matter (no outside source: a property of the fold)."""

from __future__ import annotations

from random import Random
from unittest.mock import patch

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.network import by_tick
from netwatch.network.streams import _ARRAYS, Streams
from netwatch.story.play import Player
from tests.stories import frames
from tests.stories.boxes import BOATHOUSE, ORCHARD, POND, WALK, box
from tests.stories.playing import NS, START, Event, Heard, cut_at, difference, picture, play

BOXES = (WALK, POND, ORCHARD, BOATHOUSE)


def evening(seed: int) -> list[Event]:
    """Senders of both protocols that lose, repeat and swap packets, fade or stand still, and records all the time."""
    random, out = Random(seed), list[Event]()
    seconds = random.choice((4, 7, 12))
    for _ in range(random.randint(1, 6)):
        who, universe, hz, first = random.choice(BOXES), random.randint(1, 3), random.choice((2, 10, 44)), random.randrange(256)
        acn, trouble, still = random.random() < 0.6, random.choice((0, 0, 0.02, 0.1)), random.choice((1, 1, 20, 1000))
        counts, slots = random.random() < 0.8, random.choice((4, 60, 512))
        for i in range(seconds * hz):
            if random.random() < trouble / 2:
                continue
            at = START + round((i / hz + random.uniform(0, 0.003) + (1.5 / hz if random.random() < trouble / 2 else 0)) * NS)
            levels = bytes(slots - 2) + bytes((i // still % 256, 7))
            number = (first + i) % 255 + 1 if counts else 0
            frame = frames.e131(who, universe, first + i, levels) if acn else frames.artdmx(who, universe, number, levels)
            out += [Heard(at + 50_000 * copy, frame) for copy in range(1 + (random.random() < trouble))]
    for i in range(seconds * random.choice((3, 6, 20))):
        who, at = random.choice(BOXES), START + round(random.uniform(0, seconds) * NS)
        out.append(Heard(at, random.choice((
            frames.report(who, f"239.255.0.{1 + i % 3}"), frames.dhcp(frames.REQUEST, who, xid=i), frames.artpoll(who),
            frames.arp(who, box(random.choice(BOXES)).address), frames.chatter(who),
        ))))  # fmt: skip
    out.sort(key=lambda event: event.time)
    return out


def arrays(player: Player) -> dict[str, list[int]]:
    """All that is known of the flows."""
    streams: Streams = player.network.streams
    size = streams.table.size
    found = {name: getattr(streams, name)[:size].tolist() for name in _ARRAYS}
    return found | {"seen": streams.seen[:size].tolist(), "levels": streams.levels[:size].tolist()}


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 1 << 32), st.integers(0, 1 << 32))
def test_sorted_once_or_tick_by_tick_is_the_same(seed: int, cuts: int) -> None:
    events, random = evening(seed), Random(cuts)
    whole = play(events, vantage="mirror", cut=cut_at({len(events) // 3}))
    places = {random.randrange(len(events)) for _ in range(random.choice((3, 20)))}
    others = [play(events, vantage="mirror", cut=cut_at(places))]
    with patch.object(by_tick, "LEAST_TICKS", 1 << 30):
        others.append(play(events, vantage="mirror"))
    with patch.object(by_tick, "LEAST_TICKS", 1):
        others.append(play(events, vantage="mirror", cut=cut_at(places)))
    for other in others:
        assert not difference(picture(whole), picture(other))
        assert arrays(whole) == arrays(other)


def test_it_is_what_happens_where_all_ticks_have_news() -> None:
    """Else the test above would say nothing."""
    found, made = [], by_tick.ByTick.part

    def part(self: by_tick.ByTick, *given: object) -> by_tick.TickRows | None:
        found.append(made(self, *given))  # type: ignore[arg-type]
        return found[-1]

    with patch.object(by_tick.ByTick, "part", part):
        for seed in range(8):
            events = evening(seed)
            play(events, vantage="mirror", cut=cut_at({len(events) // 3}))
    rows = [each for each in found if each is not None]
    assert len(rows) > 10
    assert {each.plain for each in rows} == {True, False}
    assert all(np.array_equal(each.flow, np.sort(each.flow)) for each in rows)
