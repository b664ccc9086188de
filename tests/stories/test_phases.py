"""Stories of the phases: what is only a note while a rig is put up, and what a show brings on top. Five minutes, and all other
times
here, are common practice, no source; silence and goodbyes by E1.31-2018 6.7.1 and 6.2.6, polls by Art-Net 4 (1.4di) p.15."""

from __future__ import annotations

from typing import Any

from netwatch.plan.expected import Expected as Plan
from netwatch.plan.expected import ExpectedDevice, ExpectedUniverse
from netwatch.story.snapshot import AlertView, Snapshot
from netwatch.story.standing import in_order, place, standing
from tests.stories import artnet_frames, frames
from tests.stories.boxes import BACKUP, DESK, ORCHARD, POND, SERVER, WALK
from tests.stories.playing import Event
from tests.stories.script import at, every, expect, listening, mark, ns, quiet, source, stream
from tests.stories.script import story as show

MIRROR = listening("mirror")
OTHERS = stream(9, POND, hz=2, stop=400)
"""Light of somebody else that goes on."""


def story(*lines: Any, **given: Any) -> Snapshot:
    """A story that begins while the rig is put up."""
    return show(*lines, **{"phase": "building", **given})


def one(told: Snapshot, code: str) -> AlertView:
    (found,) = (each for each in told.alerts if each.code == code)
    return found


# ---- building: a note until it proved to be part of the rig ----


def test_a_desk_that_ran_for_a_minute_is_a_note() -> None:
    told = story(
        MIRROR, stream(1, DESK, hz=5, stop=60), OTHERS,
        expect("source-lost", subject=source(DESK), severity="note", certainty="certain", facts={"in_a_show": "now"}),
    )  # fmt: skip
    assert (standing(told)["now"], standing(told)["soon"]) == (0, 0)


def test_a_desk_that_ran_for_five_minutes_is_missed() -> None:
    story(MIRROR, stream(1, DESK, hz=5, stop=302), OTHERS, expect("source-lost", severity="now", opened=(304, 305)))


def test_just_under_five_minutes() -> None:
    """2.5 s of silence are still no break."""
    story(MIRROR, stream(1, DESK, hz=5, stop=297), OTHERS, expect("source-lost", severity="note"))


def test_five_minutes_in_pieces_are_none() -> None:
    pieces = [stream(1, DESK, hz=5, start=start, stop=start + 50) for start in range(0, 420, 60)]
    told = story(MIRROR, *pieces, stream(9, POND, hz=2, stop=440))
    assert {each.severity for each in told.alerts if each.code == "source-lost"} == {"note"}


def test_it_had_run_for_long_enough_earlier() -> None:
    pieces = stream(1, DESK, hz=5, stop=310), stream(1, DESK, hz=5, start=315, stop=330)
    told = story(MIRROR, *pieces, stream(9, POND, hz=2, stop=345))
    assert [each.severity for each in told.alerts if each.code == "source-lost"] == ["now", "now"]


def test_the_plan_expects_it() -> None:
    plan = Plan(universes=(ExpectedUniverse(protocol="e131", universe=1, senders=("gatehouse desk",)),))
    story(
        MIRROR, stream(1, DESK, hz=5, stop=20), stream(9, POND, hz=2, stop=40), expect("source-lost", severity="now"), plan=plan
    )


def test_the_plan_expects_another_universe() -> None:
    plan = Plan(universes=(ExpectedUniverse(protocol="artnet", universe=1, senders=("gatehouse desk",)),))
    story(
        MIRROR, stream(1, DESK, hz=5, stop=20), stream(9, POND, hz=2, stop=40), expect("source-lost", severity="note"), plan=plan
    )


def test_nobody_knows_whose_fault_it_is() -> None:
    joined = at(0.2, frames.report("laptop", frames.universe_group(1)), direction=2)
    story(
        listening("ordinary"), joined, stream(1, DESK, hz=10, start=0.5, stop=20), every(7, frames.announce(WALK), stop=60),
        expect("universe-silent", severity="note", facts={"in_a_show": "soon"}),
    )  # fmt: skip


def test_what_the_switch_drops_is_told_in_every_phase() -> None:
    joined = at(1, frames.report("laptop", frames.universe_group(1)), direction=2)
    story(
        listening("ordinary"), joined, stream(1, DESK, hz=2, start=1.2, stop=261),
        every(20, frames.announce(DESK), start=5, stop=300), expect("multicast-dropped", severity="now"),
    )  # fmt: skip


def test_an_unanswered_poll() -> None:
    talk: list[Event] = []
    for second in range(0, 24, 3):
        talk += at(second, artnet_frames.poll(DESK))
        talk += at(second + 0.2, artnet_frames.reply(POND, outputs=(1,))) if second < 12 else []
    lives = every(2, frames.announce(POND), stop=40)
    told = story(MIRROR, talk, lives, quiet(1))
    assert [each.severity for each in told.alerts if each.code == "poll-unanswered"] == ["note"]
    plan = Plan(devices=(ExpectedDevice(name="pond", mac=POND.mac),))
    told = story(MIRROR, talk, lives, quiet(1), plan=plan)
    assert [each.severity for each in told.alerts if each.code == "poll-unanswered"] == ["soon"]


def test_nothing_gets_louder_because_another_source_takes_over() -> None:
    """The universe runs for long enough, but not before the first desk went."""
    story(
        MIRROR, stream(1, DESK, hz=5, stop=30), stream(1, BACKUP, hz=5, start=31, stop=400), OTHERS,
        expect("source-lost", subject=source(DESK), severity="note"),
    )  # fmt: skip


# ---- the phase changes ----


def test_from_the_show_on() -> None:
    told = story(
        MIRROR, mark(30, phase="show"), stream(1, DESK, hz=5, stop=60), stream(9, POND, hz=2, stop=80),
        expect("source-lost", severity="now"),
    )  # fmt: skip
    assert (told.phase, told.phases) == ("show", ((ns(30), "show"),))
    assert [(each.what, each.text) for each in told.happenings if each.what == "phase"] == [("phase", "show")]


def test_what_was_lost_before_the_show_stays_a_note() -> None:
    story(
        MIRROR, stream(1, DESK, hz=5, stop=20), mark(30, phase="show"), stream(9, POND, hz=2, stop=80),
        expect("source-lost", severity="note", closed=None),
    )  # fmt: skip


def test_a_phase_of_a_strangers_file_is_passed_over() -> None:
    told = story(
        MIRROR, mark(1, phase="party"), mark(2, phase=["show"]), mark(3, phase="building"), stream(1, DESK, hz=5, stop=5)
    )
    assert (told.phase, told.phases) == ("building", ())


def test_in_a_show_only_now_is_on_top() -> None:
    offers = [
        at(second, frames.dhcp(frames.OFFER, WALK, server=server.address, yiaddr=f"10.0.0.{40 + second}", mask="255.255.255.0",
                               lease=600 * second, xid=second, by=server))
        for second, server in ((5, SERVER), (6, ORCHARD.at("10.0.0.2")))
    ]  # fmt: skip
    lines = [MIRROR, stream(1, DESK, hz=5, stop=20), stream(9, POND, hz=2, stop=40), *offers]
    told = show(*lines)
    places = {each.code: place(each, told.phase) for each in told.alerts}
    assert (places["source-lost"], places["two-dhcp-servers"]) == ("now", "later"), places
    assert (standing(told)["now"], standing(told)["later"], standing(told)["soon"]) == (1, 1, 0)
    assert [each.code for each in in_order(told.alerts, told.phase)][:2] == ["source-lost", "two-dhcp-servers"]
    servers = one(told, "two-dhcp-servers")
    assert servers.waits == tuple(sorted(servers.waits))
    assert True in servers.waits
    assert "Restart the devices" in servers.steps[servers.waits.index(True)][0]
    before = one(story(*lines), "two-dhcp-servers")
    assert sorted(before.steps) == sorted(servers.steps)
    assert [text.split()[0] for text, _ in before.steps] == ["Decide", "Find", "Switch", "Restart", "Watch"]
