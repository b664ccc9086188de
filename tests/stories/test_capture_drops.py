"""Stories of a recording that can't keep up (P6), where the file tells no count. Common practice, no source."""

from __future__ import annotations

from random import Random

from tests.stories.boxes import BACKUP, BOATHOUSE, DESK, ORCHARD, POND, WALK, Box
from tests.stories.playing import Event, Heard
from tests.stories.script import expect, expect_silent, listening, mark, ns, story, stream

MIRROR, ORDINARY = listening("mirror", laptop=None), listening("ordinary")
SENDERS = (DESK, POND, WALK, ORCHARD)
FEW = bytes((9,)) * 24


def light(universe: int, who: Box, stop: float = 25, **given: object) -> list[Event]:
    """Each sender has a clock of its own."""
    return stream(universe, who, 40, start=universe * 0.0037, stop=stop, **{"levels": FEW, **given})  # type: ignore[arg-type]


def rig(*who: Box) -> list[Event]:
    return [event for i, box in enumerate(who or SENDERS) for event in light(i + 1, box)]


def overflow(events: list[Event], *begins: float, length: float = 0.06) -> list[Event]:
    """Whatever came in these stretches of time is missing."""
    return [event for event in events if not any(ns(begin) <= event.time < ns(begin + length) for begin in begins)]


def test_unrelated_senders_lose_at_the_same_moments() -> None:
    story(
        MIRROR, overflow(rig(), 3, 5, 8, 11, 13, 17),
        expect(
            "capture-dropping", severity="soon", certainty="likely", about_laptop=True, opened=(8, 12), facts={"dropped": None}
        ),
        expect_silent("packets-lost"),
    )  # fmt: skip


def test_the_same_on_an_ordinary_port_and_often() -> None:
    heard = overflow(rig(), *(1 + i * 0.8 for i in range(25)), length=0.03)
    told = story(ORDINARY, heard, expect("capture-dropping", certainty="likely"), expect_silent("packets-lost"))
    assert next(each for each in told.alerts if each.code == "capture-dropping").facts["moments"] > 10


def test_the_systems_count_stays_at_nothing() -> None:
    """Then it is a crowded trunk that throws away for everybody."""
    marks = [event for second in range(25) for event in mark(second, dropped=0)]
    story(MIRROR, overflow(rig(), 3, 5, 8, 11, 13, 17), marks, expect_silent("capture-dropping"))


def test_each_sender_loses_for_itself() -> None:
    """Four senders with 2 %, six with 20 %: there much falls together by chance; two senders behind one cable; one sender."""
    for senders, share in ((SENDERS, 0.02), ((*SENDERS, BOATHOUSE, BACKUP), 0.2)):
        random = Random(7)
        lossy = [event for event in rig(*senders) if isinstance(event, Heard) and random.random() >= share]
        story(MIRROR, lossy, expect_silent("capture-dropping"))
    behind = overflow([*light(1, DESK), *light(2, POND)], 3, 5, 8, 11, 13)
    story(MIRROR, behind, light(3, WALK), light(4, ORCHARD), expect_silent("capture-dropping"))
    many = [event for universe in range(1, 9) for event in light(universe, DESK)]
    story(MIRROR, overflow(many, 3, 5, 8), light(20, POND), expect_silent("capture-dropping"))
