"""Stories of packets that come unevenly (L5). Limits are common practice, no source; the rate of a DMX line: E1.11-2008."""

from __future__ import annotations

from random import Random

from tests.stories.boxes import BOATHOUSE, DESK, ORCHARD, POND, WALK, Box
from tests.stories.frames import e131
from tests.stories.playing import Event, Heard
from tests.stories.script import at, every, expect, expect_silent, listening, ns, source, story, stream

MIRROR, ORDINARY, WIFI = listening("mirror", laptop=None), listening("ordinary"), listening(kind="wifi")
FEW = bytes((9,)) * 24


def light(universe: int, who: Box, hz: float = 40, stop: float = 25) -> list[Event]:
    return stream(universe, who, hz, stop=stop, levels=FEW)


def late(events: list[Event], least_ms: float, most_ms: float, seed: int = 1) -> list[Event]:
    """Each packet by a time of its own, but none overtakes another: a queue."""
    random, out, before = Random(seed), list[Event](), 0
    for event in events:
        assert isinstance(event, Heard)
        before = max(before, event.time + round(random.uniform(least_ms, most_ms) * 1e6))
        out.append(Heard(before, event.frame, event.port))
    return out


def at_times(universe: int, who: Box, times: list[float]) -> list[Event]:
    return [Heard(ns(when), e131(who, universe, i, FEW)) for i, when in enumerate(times)]


def test_one_way_is_jittery_and_the_others_are_not() -> None:
    story(
        MIRROR, late(light(1, DESK), 0, 90), light(2, POND), light(3, WALK, 30),
        expect("jitter", subject=source(DESK), severity="quality", certainty="certain", opened=(8, 22), facts={"universes": [1]}),
    )  # fmt: skip


def test_seen_from_an_ordinary_port_on_two_universes() -> None:
    """Both go through the same queue."""
    both = sorted([*light(1, DESK), *light(2, DESK)], key=lambda event: event.time)
    story(ORDINARY, late(both, 0, 120, seed=3), light(5, POND, 44),
          expect("jitter", subject=source(DESK), severity="quality", facts={"universes": [1, 2]}))


def test_a_little_jitter_is_untidy() -> None:
    story(MIRROR, late(light(1, DESK), 0, 25, seed=5), light(2, POND), expect("jitter", severity="tidy"))


def test_frame_clocks_that_beat() -> None:
    """30 looks a second on a clock of 44: 22.7 or 45.4 ms; 40 on 44; packets that get lost; looks that end now and then."""
    beating = [i / 44 for i in range(44 * 25) if int(i / 44 * 30) != int((i - 1) / 44 * 30)]
    story(
        MIRROR, at_times(1, DESK, beating), light(2, POND),
        at_times(3, WALK, [i / 44 for i in range(44 * 25) if i % 11]),
        stream(4, ORCHARD, 40, stop=25, levels=FEW, lose=range(5, 900, 9)),
        at_times(5, BOATHOUSE, [i / 40 for i in range(1000) if i % 100 < 70]), expect_silent("jitter"),
    )  # fmt: skip


def test_the_laptops_own_clock() -> None:
    """All senders seem uneven; or there is but one."""
    all_of_them = [event for i, who in enumerate((DESK, POND, WALK), 1) for event in late(light(i, who), 0, 90, i)]
    story(MIRROR, all_of_them, expect_silent("jitter"))
    story(MIRROR, late(light(1, DESK), 0, 90), every(1, e131(POND, 2, 0, FEW), stop=25), expect_silent("jitter"))


def test_a_long_even_way_a_lively_sender_and_wifi() -> None:
    """20 ms later, all of them; software timers off by 4 ms; light that rests; on Wi-Fi it is another matter."""
    rests = stream(4, ORCHARD, 1, stop=25)
    story(MIRROR, late(light(1, DESK), 20, 20), light(2, POND), late(light(3, WALK), 0, 4), rests, expect_silent("jitter"))
    story(WIFI, late(light(1, DESK), 0, 90), light(2, POND), expect_silent("jitter"))


def test_a_sender_that_is_away_for_a_while() -> None:
    """The clock of the one that stays is even; what came back has no gap to be judged."""
    gone = [*stream(1, DESK, 40, stop=12, levels=FEW), *stream(1, DESK, 40, start=16, stop=25, levels=FEW, first=100)]
    story(MIRROR, gone, light(2, POND), at(24.9, e131(WALK, 3)), expect_silent("jitter"))
