"""What a soak says. Ageing by RFC 3376 8.4 and RFC 9776 8 (260 s and 10 s), questions by RFC 9776 8.2 and 8.5 (125 s, 255 s).

What counts as ready is our own: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from ipaddress import IPv4Address

import pytest

from netwatch.numbers import DEFAULTS
from netwatch.packets.batch import Port
from netwatch.plan.rig import Device, Plan
from netwatch.plan.universes import Light
from netwatch.report.brief import Job
from netwatch.report.soak import data, page, render
from netwatch.story.snapshot import Snapshot
from netwatch.story.soak import Sheet, Soaked, judge
from netwatch.words import soak as words
from tests.stories import frames
from tests.stories.boxes import BACKUP, DESK, LAPTOP, POND, Box
from tests.stories.playing import Event, play
from tests.stories.script import at, every, mark, ns, stream

PORTS = (Port("eth0", 1, (frames.mac(LAPTOP.mac),), ("10.0.0.99/24",)),)
JOIN, END = 41, 470
GROUP = frames.universe_group(1)


def heard(*parts: Iterable[Event], vantage: str | None = "ordinary", plan: Plan | None = None, end: float = END) -> Snapshot:
    others = [*every(60, frames.announce(POND), start=1, stop=end), *at(end, frames.announce(DESK))]
    events = [*(each for part in parts for each in part), *others]
    return play(sorted(events, key=lambda each: each.time), PORTS, vantage=vantage, plan=plan, phase="building").snapshot()


def joins(*seconds: float) -> list[Event]:
    """The laptop's own reports: when it joins, and after each question (RFC 2236 3)."""
    return [event for second in seconds for event in at(second, frames.report(LAPTOP, GROUP), direction=2)]


ASKED = every(125, frames.query(), start=10, stop=END)
ANSWERED = joins(JOIN, *(second + 2 for second in (135, 260, 385)))


def sheet(
    snapshot: Snapshot, joined: Mapping[int, float] | None = None, *, expected: tuple[int, ...] = (), whole: bool = True
) -> Sheet:
    given = {1: JOIN} if joined is None else joined
    return judge(snapshot, Soaked(ns(JOIN), {each: ns(second) for each, second in given.items()}, expected, whole), DEFAULTS)


def texts(found: Sheet, state: str) -> str:
    return " | ".join(f"{each.name} {each.text}" for each in found.of(state))


HEALTHY = heard(stream(hz=2, start=JOIN, stop=END), ASKED, ANSWERED)


def test_a_rig_that_holds_is_ready() -> None:
    found = sheet(HEALTHY)
    assert (found.verdict, found.of(words.FAILED)) == (words.READY, [])
    passed = texts(found, words.PASSED)
    assert "Universe 1 keeps coming more than 270 s after being asked for" in passed
    assert "10.0.0.254 asks who listens, every 125 s; heard 4 times" in passed


def test_light_that_the_switch_forgets_is_not_ready() -> None:
    """Nobody asks, so the membership runs out 260 s after the only report; the desk is heard to go on."""
    found = sheet(heard(stream(hz=2, start=JOIN, stop=JOIN + 260), stream(2, hz=2, start=JOIN, stop=END), joins(JOIN)))
    assert found.verdict == words.NOT_READY
    assert "universe 1" in texts(found, words.FAILED)


def test_what_was_dropped_is_told_even_if_no_alert_does() -> None:
    """Whose fault it is may not be known: it came, and it stopped."""
    snapshot = heard(stream(hz=2, start=JOIN, stop=300), ASKED, ANSWERED)
    found = sheet(replace(snapshot, alerts=()))
    assert found.verdict == words.NOT_READY
    assert "Universe 1 stopped coming here" in texts(found, words.FAILED)


def test_before_the_memory_of_a_switch_is_over_nobody_can_say() -> None:
    found = sheet(heard(stream(hz=2, start=JOIN, stop=200), ASKED[:2], joins(JOIN, 137), end=200))
    assert found.verdict == words.CANNOT_SAY
    assert "this takes 270 s" in texts(found, words.UNTESTED)


def test_nothing_joined_and_nothing_comes_by_itself() -> None:
    found = sheet(heard(ASKED), {})
    assert found.verdict == words.CANNOT_SAY
    assert words.NO_LIGHT in texts(found, words.UNTESTED)


def test_a_switch_that_passes_everything_on_forgets_nothing() -> None:
    found = sheet(heard(stream(hz=2, stop=END)), {})
    assert found.verdict == words.READY
    assert "without being asked for" in texts(found, words.PASSED)
    assert words.NOBODY_ASKS in texts(found, words.UNTESTED)


def test_a_mirror_port_does_not_show_what_the_switch_holds_back() -> None:
    found = sheet(heard(stream(hz=2, stop=END), ASKED, vantage="mirror"), {})
    assert found.verdict == words.CANNOT_SAY
    assert words.MIRROR in texts(found, words.UNTESTED)


def test_a_laptop_that_dropped_packets_can_not_say() -> None:
    found = sheet(replace(HEALTHY, dropped=12))
    assert found.verdict == words.CANNOT_SAY
    assert "12 packets were dropped" in texts(found, words.UNTESTED)


def test_stopped_before_its_time() -> None:
    assert sheet(HEALTHY, whole=False).verdict == words.CANNOT_SAY


def test_what_failed_and_is_over_still_counts_unless_it_is_known() -> None:
    """Two boxes use one address for 40 s (RFC 5227 2.4)."""
    rival = POND.card("02:00:00:00:00:77")
    both = [*every(5, frames.announce(POND), start=60, stop=100), *every(5, frames.announce(rival), start=62, stop=100)]
    snapshot = heard(stream(hz=2, start=JOIN, stop=END), both, ASKED, ANSWERED)
    snapshot = replace(snapshot, alerts=tuple(replace(each, closed=ns(120)) for each in snapshot.alerts))
    found = sheet(snapshot)
    assert found.verdict == words.NOT_READY
    (one,) = [each for each in found.of(words.FAILED) if each.alert and each.alert.code == "duplicate-address"]
    assert one.alert is not None
    text = render(snapshot, found, colour=False, width=80)
    assert text.startswith("NOT READY\n")
    assert ", over)." in " ".join(text.split())
    assert "First: " in text
    known = tuple(replace(each, accepted={"why": "it is unplugged"}) for each in snapshot.alerts)
    assert sheet(replace(snapshot, alerts=known)).verdict == words.READY


def test_while_a_rig_is_put_up_it_is_judged_as_in_a_show() -> None:
    """A source that is lost after two minutes is only a note then (it did not run for five)."""
    found = sheet(heard(stream(hz=10, start=JOIN, stop=END), ASKED, ANSWERED, stream(2, BACKUP, hz=10, stop=120), joins(1)))
    lost = [each for each in found.of(words.FAILED) if each.alert and each.alert.code in ("source-lost", "universe-silent")]
    assert found.verdict == words.NOT_READY
    assert lost
    assert all(each.alert is not None and each.alert.severity == "note" for each in lost)


@pytest.mark.parametrize(("expected", "verdict", "why"), [
    ((5,), words.NOT_READY, "though it should be sent"), ((), words.READY, "perhaps nobody sends it"),
])  # fmt: skip
def test_what_was_asked_for_in_vain(expected: tuple[int, ...], verdict: str, why: str) -> None:
    found = sheet(HEALTHY, {1: JOIN, 5: JOIN}, expected=expected)
    assert found.verdict == verdict
    assert why in texts(found, words.FAILED) + texts(found, words.UNTESTED)


@pytest.mark.parametrize(("devices", "verdict"), [
    ((Device(name="gatehouse desk", mac=DESK.mac, address=IPv4Address(DESK.address), sends=(Light("e131", 1),)),), words.READY),
    ((Device(name="gatehouse desk", mac=DESK.mac, address=IPv4Address("10.0.0.77")),), words.NOT_READY),
    ((Device(name="gatehouse desk", mac=DESK.mac), Device(name="boathouse", mac="02:00:00:00:00:18")), words.CANNOT_SAY),
])  # fmt: skip
def test_it_is_compared_with_the_plan(devices: tuple[Device, ...], verdict: str) -> None:
    snapshot = heard(stream(hz=2, start=JOIN, stop=END), ASKED, ANSWERED, plan=Plan(devices=devices))
    assert sheet(snapshot).verdict == verdict


def test_the_word_that_starts_a_cue_is_never_said() -> None:
    shown = [render(HEALTHY, sheet(HEALTHY, joined), colour=False, width=80) for joined in ({1: JOIN}, {}, {1: JOIN, 5: JOIN})]
    spoken = " ".join([*shown, *words.MEANINGS.values(), words.begins(7, 40, "x"), words.IN_SHOW, words.show_soon("19:30")])
    assert "go" not in spoken.lower().replace("(", " ").replace(".", " ").replace(",", " ").split()


def test_as_a_page_to_print_without_peoples_names() -> None:
    """A phone asks for an address twice; its made-up MAC (IEEE 802-2014 8.4) is nobody's business."""
    phone = Box("anna", "da:12:34:56:78:9a", "10.0.0.22")
    snapshot = heard(stream(hz=2, start=JOIN, stop=END), ASKED, ANSWERED, every(5, frames.announce(phone), start=60, stop=100))
    found = sheet(snapshot)
    made = page(snapshot, found, Job(program="netwatch 1"))
    assert made.startswith("<!doctype html>")
    assert '<b class="verdict">NOT READY</b>' in made
    assert "Multicast outlives the switch&#39;s memory" in made
    assert phone.mac not in made


def test_as_plain_values() -> None:
    made = data(HEALTHY, sheet(HEALTHY))
    assert (made["schema"], made["verdict"]) == (1, "READY")
    assert {each["state"] for each in made["items"]} <= set(words.HEADS)


def test_marks_do_not_matter() -> None:
    assert sheet(heard(stream(hz=2, start=JOIN, stop=END), ASKED, ANSWERED, mark(50, word="x"))).verdict == words.READY
