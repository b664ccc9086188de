"""Stories of both protocols at once: X1, X2. Art-Net by stupidArtnet; sACN laid out by E1.31-2018 table 4-1."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.stories import frames
from tests.stories.artnet_frames import FOLLOWS_E131, light, poll, reply
from tests.stories.boxes import BACKUP, DESK, WALK, Box
from tests.stories.playing import Event, Heard
from tests.stories.script import every, expect, expect_silent, listening, ns, story

Shown = Callable[[int, int], bytes]


def moving(universe: int, i: int) -> bytes:
    return bytes((slot * (universe + 2) + 3 * i) % 250 + 1 for slot in range(512))


def alike(universe: int, i: int) -> bytes:
    return bytes((slot + 3 * i) % 250 + 1 for slot in range(512))


def black(universe: int, i: int) -> bytes:
    return bytes(512)


def still(universe: int, i: int) -> bytes:
    return moving(universe, 0)


def sacn(
    universes: range, hz: float = 40, start: float = 0, stop: float = 10, shown: Shown = moving, source: Box = DESK
) -> list[Event]:
    """sACN of several universes."""
    return [
        Heard(ns(start + i / hz) + universe * 20_000, frames.e131(source, universe, i, shown(universe, i)))
        for i in range(int((stop - start) * hz))
        for universe in universes
    ]


def shifted(offset: int, shown: Shown = moving) -> Shown:
    """Levels of an Art-Net universe that carries what sACN universe + offset carries."""
    return lambda universe, i: shown(universe + offset, i)


def then(quiet_until: int, shown: Shown) -> Shown:
    """Still at first, then moving."""
    return lambda universe, i: shown(universe, max(i - quiet_until, 0))


# ---- X2 ----


@pytest.mark.parametrize(("offset", "severity"), [(1, "note"), (0, "tidy"), (2, "tidy")])
def test_which_numbers_carry_the_same(offset: int, severity: str) -> None:
    first = max(1, offset)
    story(
        listening("ordinary"),
        sacn(range(first, first + 6)),
        light(DESK, range(first - offset, first - offset + 6), shown=shifted(offset)),
        expect(
            "protocols-off-by-one",
            severity=severity,
            certainty="certain",
            subject="rig",
            opened=(1, 10),
            closed=None,
            facts={"offset": offset, "sacn": first, "artnet": first - offset},
        ),
        expect_silent(),
    )


def test_within_ten_seconds_of_moving_light() -> None:
    """It stands still for 15 s; one protocol comes 20 ms late and at half the rate."""
    late = [
        Heard(each.time + 20_000_000, each.frame)
        for each in light(DESK, range(6), 20, stop=26, shown=lambda u, i: then(600, moving)(u, 2 * i))
    ]
    story(
        listening("mirror"),
        sacn(range(6), stop=26, shown=then(600, moving)),
        late,
        expect("protocols-off-by-one", opened=(15, 25), facts={"offset": 0}),
    )


@pytest.mark.parametrize("shown", [black, still, alike])
def test_universes_that_tell_nothing(shown: Shown) -> None:
    """All black; all still; all the same, at any shift."""
    story(
        listening("ordinary"),
        sacn(range(1, 8), 20, stop=15, shown=shown),
        light(DESK, range(7), 20, stop=15, shown=shown),
        expect_silent("protocols-off-by-one"),
        expect_silent(),
    )


def test_two_rigs_with_light_of_their_own() -> None:
    story(
        listening("ordinary"),
        sacn(range(1, 8), stop=15),
        light(BACKUP, range(1, 8), stop=15, shown=lambda u, i: moving(u + 40, 3 * i)),
        expect_silent("protocols-off-by-one"),
        expect_silent(),
    )


def test_four_universes_are_too_few() -> None:
    story(
        listening("ordinary"), sacn(range(1, 5)), light(DESK, range(4), shown=shifted(1)), expect_silent("protocols-off-by-one")
    )


# ---- X1 ----

ASKED = [*every(3, poll(DESK), stop=25), *every(5, frames.report(WALK, frames.universe_group(1)), start=0.5, stop=25)]


def test_node_gets_two_looks() -> None:
    story(
        listening("mirror"),
        ASKED,
        every(3, reply(WALK, [0], to=DESK), start=0.4, stop=25),
        sacn(range(1, 2), 20, stop=25),
        light(BACKUP, [0], 20, stop=25, shown=lambda u, i: moving(u + 9, 2 * i), to=WALK),
        expect(
            "both-protocols-one-universe",
            severity="soon",
            certainty="likely",
            subject=f"host:{WALK.mac}",
            opened=(10, 22),
            facts={"differ": True, "sacn": 1, "artnet": 0},
        ),
    )


def test_node_gets_one_look_twice() -> None:
    story(
        listening("mirror"),
        ASKED,
        every(3, reply(WALK, [0], to=DESK), start=0.4, stop=25),
        sacn(range(1, 2), 20, stop=25),
        light(DESK, [0], 20, stop=25, shown=shifted(1), to=WALK),
        expect(
            "both-protocols-one-universe", severity="tidy", certainty="hint", subject=f"host:{WALK.mac}", facts={"differ": False}
        ),
        expect_silent(),
    )


def test_both_everywhere_by_default_is_a_note() -> None:
    """Nodes follow one protocol each."""
    story(
        listening("ordinary"),
        every(3, poll(DESK), stop=25),
        every(3, reply(WALK, [0], good=FOLLOWS_E131), start=0.4, stop=25),
        sacn(range(1, 5), 10, stop=25),
        light(DESK, range(4), 10, stop=25, shown=shifted(1)),
        expect(
            "both-protocols-one-universe", severity="note", certainty="hint", subject="rig", facts={"universes": [1, 2, 3, 4]}
        ),
        expect_silent(),
    )


def test_the_note_keeps_to_the_numbers_that_are_proven() -> None:
    """sACN 1 and Art-Net 1 carry the same: sACN 7 is not sent by Art-Net, although there is an Art-Net 6."""
    story(
        listening("ordinary"),
        sacn(range(1, 8), stop=25),
        light(DESK, range(1, 7), stop=25, shown=shifted(0)),
        expect("protocols-off-by-one", facts={"offset": 0}),
        expect("both-protocols-one-universe", subject="rig", facts={"universes": [1, 2, 3, 4, 5, 6], "sacn": 1, "artnet": 1}),
    )


def test_converter_and_numbers_that_do_not_meet() -> None:
    """A box that takes sACN and sends Art-Net of other numbers."""
    story(
        listening("ordinary"),
        sacn(range(1, 3), 10, stop=25),
        light(WALK, [100, 101], 10, stop=25, shown=shifted(-99)),
        expect_silent("both-protocols-one-universe"),
        expect_silent(),
    )


def test_one_protocol_only() -> None:
    story(listening("ordinary"), sacn(range(1, 3), 10, stop=15), expect_silent("both-protocols-one-universe"))
