"""What was remembered of flows at each tick's end, against plain lists (no outside source: a property of the fold)."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest

from netwatch.network.prints import KEPT, NO_TIME, Prints, prints_of

FLOWS = 6


def changes(random: Random, ticks: int) -> list[tuple[int, int, int, int]]:
    """(flow, tick, time, look) of a stretch: flows that change not at all, now and then, or more often than is remembered."""
    times = {flow: random.choice((0, 0, 1, 5, 20, 70)) for flow in range(FLOWS)}
    rows = [(flow, random.randrange(ticks)) for flow, most in times.items() for _ in range(random.randint(0, most))]
    return [(flow, tick, tick * 1_000 + place, random.randrange(1, 200)) for place, (flow, tick) in enumerate(sorted(rows))]


@pytest.mark.parametrize("seed", range(20))
def test_the_memory_at_a_tick_is_what_came_until_then(seed: int) -> None:
    random, prints = Random(seed), Prints()
    prints.on = True
    told: list[list[tuple[int, int]]] = [[] for _ in range(FLOWS)]
    looks = dict[int, int]()
    for stretch in range(8):
        ticks = random.choice((1, 2, 9))
        rows, flows = changes(random, ticks), random.randint(FLOWS - 1, FLOWS) if stretch == 0 else FLOWS
        rows = [(flow, tick, stretch * 100_000 + time, look) for flow, tick, time, look in rows if flow < flows]
        frames = np.zeros((len(rows), 512), np.uint8)
        frames[:, 500] = [look for *_, look in rows]
        flow, k, time = (np.array([row[column] for row in rows], np.int64) for column in range(3))
        prints.begin(flows)
        prints.fold(flow, k, ticks, time, prints_of(frames))
        for tick in range(ticks):
            for each, came, when, look in rows:
                if came == tick:
                    told[each].append((when, look))
            seen, times = prints.at(np.full(flows, tick), np.arange(flows))
            for each in range(flows):
                newest = told[each][: -KEPT - 1 : -1]
                assert times[each].tolist() == [when for when, _ in newest] + [NO_TIME] * (KEPT - len(newest))
                for (_, look), print_ in zip(newest, seen[each].tolist(), strict=False):
                    assert looks.setdefault(look, print_) == print_
    assert len(set(looks.values())) == len(looks)


def test_who_left_is_forgotten() -> None:
    prints = Prints()
    prints.on = True
    prints.begin(2)
    prints.fold(np.array([0, 1]), np.array([0, 0]), 1, np.array([5, 6]), prints_of(np.ones((2, 512), np.uint8)))
    prints.forget(np.array([1]))
    prints.begin(2)
    prints.fold(np.array([0]), np.array([1]), 3, np.array([9]), prints_of(np.full((1, 512), 2, np.uint8)))
    _, times = prints.at(np.array([0, 2, 2]), np.array([0, 0, 1]))
    assert times[:, :3].tolist() == [[5, NO_TIME, NO_TIME], [9, 5, NO_TIME], [NO_TIME] * 3]
