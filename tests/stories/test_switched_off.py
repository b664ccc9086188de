"""Stories of a rig that is switched off, and of what only looks like it. Two minutes are our own choice, common practice, no
source.

Goodbyes by E1.31-2018 6.2.6, silence by 6.7.1 and Art-Net 4 (1.4di) p.63, membership by RFC 9776 8.
"""

from __future__ import annotations

from typing import Any

from netwatch.story.snapshot import Snapshot
from netwatch.story.standing import standing
from tests.stories import artnet_frames, frames
from tests.stories.boxes import BACKUP, BOATHOUSE, DESK, LAPTOP, ORCHARD, POND, SERVER, WALK
from tests.stories.playing import Event
from tests.stories.script import LOUD, artnet, at, every, expect, expect_silent, listening, mark, quiet, source, stream
from tests.stories.script import story as show

MIRROR = listening("mirror")


def network(stop: float = 600) -> list[Event]:
    """What stays on: the router of the office, and the switch, which asks who listens."""
    return [*every(20, frames.announce(SERVER), stop=stop), *every(125, frames.query("core switch"), start=2, stop=stop)]


NETWORK = network()


def story(*lines: Any, **given: Any) -> Snapshot:
    """A story that begins while the rig is put up."""
    return show(*lines, **{"phase": "building", **given})


def rig(*ends: float, goodbye: bool = False) -> list[Event]:
    """Three desks that ran for long enough, each until its end."""
    desks = ((1, DESK), (2, BACKUP), (3, WALK))
    return [
        event for (universe, desk), stop in zip(desks, ends, strict=False)
        for event in stream(universe, desk, hz=4, stop=stop, goodbye=goodbye)
    ]  # fmt: skip


def loud(told: Snapshot) -> list[str]:
    """What stands alone, is open, and is loud."""
    return [each.code for each in told.alerts if each.over is None and each.closed is None and each.severity in LOUD]


# ---- it was switched off ----


def test_three_desks_within_a_minute() -> None:
    """Each is lost on its own first; when all are off, one note stands over them, and nothing else."""
    told = story(
        MIRROR, NETWORK, rig(320, 350, 390),
        expect(
            "rig-switched-off", severity="note", certainty="likely", subject="rig", opened=(400, 411), closed=None,
            title="Rig switched off: 3 controllers within 70 s",
            facts={"universes": [1, 2, 3], "properly": 0, "flows": 3},
        ),
        *(expect("source-lost", subject=source(desk), over="rig-switched-off") for desk in (DESK, BACKUP, WALK)),
    )  # fmt: skip
    assert not loud(told)
    assert standing(told) == {**standing(told), "now": 0, "soon": 0, "note": 1}
    assert "gatehouse desk" in told.alerts[-1].facts["who"]


def test_all_at_the_main_switch() -> None:
    """While the rig is put up this is no drama, nor would anybody hear an alert."""
    told = story(MIRROR, NETWORK, rig(330, 330.1, 330.2), expect("rig-switched-off", closed=None))
    assert not loud(told)


def test_all_signed_off() -> None:
    told = story(
        MIRROR, NETWORK, rig(320, 350, 390, goodbye=True), expect("rig-switched-off", certainty="certain"),
        expect("source-ended", subject=source(WALK), over="rig-switched-off"),
    )  # fmt: skip
    assert standing(told)["note"] == 1


def test_after_the_show_with_the_phase_still_on() -> None:
    told = show(MIRROR, NETWORK, rig(320, 350, 390), expect("rig-switched-off", severity="note"))
    assert not loud(told)


def test_both_protocols() -> None:
    told = story(
        MIRROR, NETWORK, rig(330), artnet(5, BOATHOUSE, hz=4, stop=350),
        expect("rig-switched-off", facts={"universes": [1], "artnet": [5], "boxes": 2}),
    )  # fmt: skip
    assert not loud(told)


def test_an_hour_later_it_is_still_off_and_in_the_morning_nobody_is_missed() -> None:
    """One desk alone comes back: the others are not lost, they are off."""
    told = story(
        MIRROR, network(1200), rig(320, 350, 390), stream(1, DESK, hz=4, start=1000, stop=1100, first=7),
        expect("rig-switched-off", closed=(999, 1011)),
        expect_silent("controller-left"),
    )  # fmt: skip
    assert not loud(told)
    assert [each.code for each in told.alerts if each.closed is None] == ["source-lost"]
    assert next(each for each in told.alerts if each.closed is None).severity == "note"


def test_a_desk_lost_long_before_stays_lost() -> None:
    story(
        MIRROR, NETWORK, rig(310, 450, 490), expect("rig-switched-off", facts={"boxes": 2}),
        expect("source-lost", subject=source(DESK), over=None, closed=None, severity="now"),
    )  # fmt: skip


# ---- it only looks like it ----


def test_one_desk_alone_may_just_as_well_have_failed() -> None:
    story(
        MIRROR, NETWORK, rig(330), quiet(60), expect_silent("rig-switched-off"), expect("source-lost", severity="now", over=None)
    )


def test_the_others_go_on() -> None:
    story(MIRROR, NETWORK, rig(330, 340, 600), expect_silent("rig-switched-off"))


def test_in_a_show_all_at_one_moment_is_a_cut() -> None:
    told = show(MIRROR, NETWORK, rig(330, 330.3, 330.6), quiet(60), expect_silent("rig-switched-off"))
    assert loud(told) == ["source-lost"] * 3


def test_in_a_show_a_node_that_is_heard_afterwards_says_no() -> None:
    """It asks for its universe when the querier wants to know: the nodes are on, so the show is."""
    asks = [event for second in (3, 128, 253, 378) for event in at(second, frames.report(ORCHARD, frames.universe_group(1)))]
    told = show(MIRROR, NETWORK, asks, rig(320, 350, 360), quiet(30))
    assert loud(told) == ["source-lost"] * 3, [(each.code, each.over) for each in told.alerts]


def test_in_a_show_an_artnet_node_that_answers_afterwards_says_no() -> None:
    answers = every(10, artnet_frames.reply(ORCHARD, outputs=(1,)), stop=420)
    assert loud(show(MIRROR, NETWORK, answers, rig(320, 350, 360))) == ["source-lost"] * 3


def test_a_desk_that_lives_without_its_light_says_no() -> None:
    told = story(MIRROR, NETWORK, rig(320, 350, 390), every(9, frames.announce(BACKUP), stop=600))
    assert loud(told) == ["source-lost"] * 3, [(each.code, each.over, each.closed) for each in told.alerts]


def test_the_laptop_fell_out_of_all_groups_at_once() -> None:
    """Nobody asks, so the switch forgets what this laptop asked for: the desks go on, unheard."""
    joined = [at(1, frames.report(LAPTOP, frames.universe_group(universe)), direction=2) for universe in (1, 2, 3)]
    lights = [stream(universe, desk, hz=4, start=1.2, stop=261) for universe, desk in ((1, DESK), (2, BACKUP), (3, WALK))]
    told = story(
        listening("ordinary"), *joined, *lights, every(9, frames.announce(POND), stop=300), expect_silent("rig-switched-off")
    )
    assert {each.code for each in told.alerts} >= {"universe-silent"}


def test_our_own_cable_was_pulled() -> None:
    said = [*mark(1, link=True), *mark(331, link=False), *mark(360, link=False)]
    story(MIRROR, rig(330, 330.1, 330.2), said, quiet(30), expect_silent("rig-switched-off"))


def test_our_own_cable_is_back_before_the_light() -> None:
    said = [*mark(1, link=True), *mark(331, link=False), *mark(360, link=True), *mark(380)]
    back = stream(1, DESK, hz=4, start=390, stop=420, first=9)
    story(MIRROR, rig(330, 330.1, 330.2), said, back, expect_silent("rig-switched-off"))


# ---- a meal break ----


def test_a_meal_break() -> None:
    """The nodes are switched off at their breakers, one desk signs off, phones come, others' light stands; then all is back."""
    group = frames.universe_group(1)
    nodes = [
        event for at_, node in enumerate((POND, ORCHARD, BOATHOUSE))
        for start, stop in ((2 + at_, 330 + 4 * at_), (900 + 4 * at_, 1100))
        for event in [*every(60, frames.announce(node), start=start, stop=stop), *at(start + 1, frames.report(node, group))]
    ]  # fmt: skip
    light = [
        *stream(1, DESK, hz=1, stop=1100, levels=bytes([80]) * 512),
        *stream(2, BACKUP, hz=2, stop=340, goodbye=True), *stream(2, BACKUP, hz=2, start=905, stop=1100, first=3),
    ]  # fmt: skip
    phones = [
        event for number, second in enumerate(range(400, 800, 50))
        for event in at(second, frames.dhcp(frames.DISCOVER, WALK.card(f"02:5a:00:00:01:{number:02x}"), host_name="phone"))
    ]  # fmt: skip
    asked = [event for second in range(3, 1100, 125) for event in at(second, frames.query("core switch"))]
    told = story(MIRROR, nodes, light, phones, asked, every(20, frames.announce(SERVER), stop=1100), expect_silent())
    assert standing(told)["now"] == standing(told)["soon"] == 0
    assert [each.code for each in told.alerts if each.code.startswith("source")] == ["source-ended"]
