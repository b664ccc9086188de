"""Stories on Wi-Fi: clumps and loss in the air (W1), a cell that keeps boxes apart (W2), another access point (W3).

Beacons come every 102.4 ms, and group frames wait for every first, second or third one (IEEE 802.11, from memory; RFC 9119
4.3). How long roaming takes, and how much loss matters, is common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

from netwatch.plan.expected import Expected as Plan
from netwatch.plan.expected import ExpectedDevice
from tests.stories import frames
from tests.stories.boxes import DESK, LAPTOP, ORCHARD, POND, SERVER, WALK, Box
from tests.stories.playing import START, Event, Heard
from tests.stories.script import at, every, expect, expect_silent, listening, mark, story, stream

WIFI, WIRE = listening(kind="wifi"), listening("ordinary")
ONE, OTHER, THIRD = "02:00:00:00:00:a1", "02:00:00:00:00:a2", "02:00:00:00:00:a3"
FEW = bytes((9,)) * 24
BEACON = 102_400_000


def light(universe: int = 1, who: Box = DESK, hz: float = 40, stop: float = 25, **given: object) -> list[Event]:
    return stream(universe, who, hz, stop=stop, **{"levels": FEW, **given})  # type: ignore[arg-type]


def held_back(events: list[Event], beacons: int = 1) -> list[Event]:
    """Each packet comes behind the next beacon, 0.3 ms behind the one before it."""
    out, taken = list[Event](), dict[int, int]()
    for event in events:
        assert isinstance(event, Heard)
        behind = (event.time - START) // (BEACON * beacons) + 1
        taken[behind] = taken.get(behind, 0) + 1
        out.append(Heard(START + behind * BEACON * beacons + taken[behind] * 300_000, event.frame))
    return out


# ---- wifi-clumping ----


def test_light_waits_for_the_beacon() -> None:
    story(
        WIFI, held_back(light()),
        expect("wifi-clumping", subject="rig", severity="quality", certainty="likely", opened=(8, 22),
               facts={"beacons": 1, "universes": [1]}),
    )  # fmt: skip


def test_light_waits_for_every_third_beacon() -> None:
    story(WIFI, held_back([*light(), *light(2, POND, 20)], 3), expect("wifi-clumping", facts={"beacons": 3, "universes": [1, 2]}))


def test_light_gets_lost_in_the_air() -> None:
    """8 % of it; that the numbers have gaps is told under it."""
    story(
        WIFI, light(lose=range(7, 1000, 12)),
        expect("wifi-clumping", severity="soon", certainty="certain", facts={"beacons": None}),
        expect("packets-lost", over="wifi-clumping"),
    )  # fmt: skip


def test_two_of_a_hundred_get_lost() -> None:
    story(WIFI, light(lose=range(7, 1000, 50)), expect("wifi-clumping", severity="quality", certainty="certain"))


def test_even_light_slow_light_and_light_that_was_turned_into_unicast() -> None:
    story(WIFI, light(), light(2, POND, 1), light(3, WALK, 10), expect_silent("wifi-clumping"))
    own = held_back([Heard(each.time, frames.mac(LAPTOP.mac) + each.frame[6:]) for each in light()])  # type: ignore[union-attr]
    story(WIFI, own, expect_silent("wifi-clumping"))


def test_the_same_on_a_cable_is_something_else() -> None:
    story(WIRE, held_back(light()), light(2, POND), expect_silent("wifi-clumping"))
    story(WIRE, light(lose=range(7, 1000, 12)), expect_silent("wifi-clumping"), expect("packets-lost", over=None))


# ---- wifi-roamed ----


def cells(*names: str, each: int = 8) -> list[Event]:
    """A mark a second; so many seconds at each access point."""
    return [event for i, name in enumerate(names) for second in range(each) for event in mark(
        i * each + second, link=True, up=True, kind="wifi", cell=name)]


def paused(begin: float, length: float, stop: float = 16, hz: float = 40) -> list[Event]:
    """Light, but for so long."""
    first, left = round(begin * hz), round(length * hz)
    return [event for i, event in enumerate(light(stop=stop, hz=hz)) if not first <= i < first + left]


def test_people_walk_about() -> None:
    story(
        WIFI, cells(ONE, OTHER), paused(7.4, 0.4), light(2, POND, 2, stop=7.3), light(2, POND, 2, start=8, stop=16, first=16),
        expect("wifi-roamed", subject="port:eth0", severity="quality", certainty="certain", opened=(8, 11), about_laptop=True,
               facts={"before": ONE, "cell": OTHER, "times": 1}),
    )  # fmt: skip


def test_a_mesh_to_and_fro() -> None:
    second = set(paused(15.4, 0.9, 24))
    both = [event for event in paused(7.6, 0.3, 24) if event in second]
    told = story(WIFI, cells(ONE, OTHER, THIRD), both, expect("wifi-roamed", facts={"times": 2, "cell": THIRD}))
    assert "2 times: light paused for 0.9 s" in next(each for each in told.alerts if each.code == "wifi-roamed").title


def test_clumps_a_calm_change_and_slow_light() -> None:
    """Power saving (W1); nothing paused; light once a second pauses all the time; the channel changed, not the access point."""
    story(WIFI, cells(ONE, OTHER), held_back(light(stop=16)), expect_silent("wifi-roamed"))
    story(WIFI, cells(ONE, OTHER), light(stop=16), expect_silent("wifi-roamed"))
    story(WIFI, cells(ONE, OTHER), light(hz=1, stop=16), expect_silent("wifi-roamed"))
    story(WIFI, cells(ONE, ONE), paused(7.4, 1.5), expect_silent("wifi-roamed"))
    story(WIFI, cells(ONE, OTHER), paused(2, 0.5), expect_silent("wifi-roamed"))


# ---- wifi-isolated ----

ACCESS = replace(SERVER, name="access point", mac=ONE)
DEVICES = Plan(devices=tuple(ExpectedDevice(name=box.name, address=box.address) for box in (DESK, POND, WALK, ORCHARD)))


def mine(*asked: Box, stop: float = 80) -> list[Event]:
    """What this laptop asks for; only the access point is heard."""
    words = [frames.arp(LAPTOP, box.address) for box in asked] or [frames.announce(LAPTOP)]
    sent = [replace(event, direction=2) for event in every(10, *words, start=1, stop=stop)]  # type: ignore[type-var]
    return [*sent, *every(10, frames.announce(ACCESS), start=0.5, stop=stop)]


def test_only_the_access_point_is_heard() -> None:
    story(
        WIFI, mine(),
        expect("wifi-isolated", subject="port:eth0", severity="tidy", certainty="hint", opened=(60, 61), about_laptop=True),
    )  # fmt: skip


def test_planned_boxes_do_not_answer() -> None:
    story(
        WIFI, mine(DESK, POND, WALK),
        expect("wifi-isolated", severity="soon", certainty="likely", facts={"asked": 3}), plan=DEVICES,
    )  # fmt: skip


def test_somebody_else_is_heard_or_the_access_point_answers_for_its_devices() -> None:
    proxy = [event for i, box in enumerate((DESK, POND)) for event in at(3 + i, frames.announce(ACCESS, box.address))]
    story(WIFI, mine(), at(30, frames.announce(POND)), expect_silent("wifi-isolated"))
    story(WIFI, mine(), proxy, expect_silent("wifi-isolated"))
    story(WIFI, mine(stop=50), expect_silent("wifi-isolated"))
    story(WIRE, mine(), expect_silent("wifi-isolated"))
    story(WIFI, mine(), light(stop=80, hz=2), expect_silent("wifi-isolated"))
