"""Stories of what changed just before an alert. Frames by RFC 826, 2131, 2236 and E1.31-2018; what counts as 'just before' is
common practice without a source: two minutes. Each story is cut in several ways and must tell the same."""

from __future__ import annotations

import pytest

from netwatch.network.changes import KEPT, Change, Changes
from netwatch.words import changes as said
from tests.stories import frames
from tests.stories.boxes import BACKUP, LAPTOP, ORCHARD, POND, SERVER, STRANGER, SWITCH, WALK
from tests.stories.script import at, every, listening, mark, ns, story, stream

OTHERS = [*every(4, frames.announce(WALK), stop=160), *every(7, frames.announce(POND), stop=160)]
LOW, RIVAL = bytes([60]) * 512, bytes([255]) * 512


def before(told, code):
    """(second, kind, text) of one alert's list."""
    alert = next(each for each in told.alerts if each.code == code)
    return [(round((each.at - ns(0)) / 1e9, 2), each.what, each.text) for each in alert.before]


def kinds(told, code):
    return [what for _, what, _ in before(told, code)]


def test_a_rival_and_what_came_before_it_nearest_first():
    told = story(
        listening("mirror"),
        OTHERS,
        stream(1, stop=120, hz=5, levels=LOW),
        at(60, frames.announce(ORCHARD)),
        at(70, frames.leave(WALK, frames.universe_group(7))),
        at(80, frames.announce(ORCHARD, "10.0.0.77")),
        stream(1, BACKUP, start=100, stop=120, hz=5, levels=RIVAL),
    )
    assert before(told, "sources-fighting") == [
        (100.0, "host", f"{BACKUP.mac} was heard for the first time"),
        (100.0, "source", "gatehouse backup began to send universe 1"),
        (80.0, "address", f"{ORCHARD.mac} used the address 10.0.0.77, until then {ORCHARD.address}"),
        (70.0, "left", f"{WALK.mac} no longer asked for universe 7"),
        (60.0, "host", f"{ORCHARD.mac} was heard for the first time"),
    ]


def test_what_is_older_than_two_minutes_or_was_there_at_the_beginning_is_left_out():
    told = story(
        listening("mirror"),
        every(4, frames.announce(WALK), stop=200),
        at(20, frames.announce(POND)),
        stream(1, hz=4, stop=200, levels=LOW),
        at(60, frames.announce(ORCHARD)),
        stream(1, BACKUP, start=190, stop=200, hz=4, levels=RIVAL),
    )
    assert kinds(told, "sources-fighting") == ["host", "source"]


def test_a_second_server_is_what_came_before_two_servers():
    asks = {"server": STRANGER.address, "requested": "192.168.77.50"}
    told = story(
        listening("ordinary"),
        OTHERS,
        at(1, frames.dhcp(frames.REQUEST, WALK, server=SERVER.address, requested=WALK.address)),
        at(90, frames.dhcp(frames.REQUEST, ORCHARD, **asks)),
        at(91, frames.dhcp(frames.REQUEST, POND, **asks)),
    )
    rival = (90.0, "server", f"the DHCP server {STRANGER.address} was heard of for the first time")
    assert rival in before(told, "two-dhcp-servers")
    assert SERVER.address not in str(before(told, "two-dhcp-servers"))


def test_an_address_used_twice_tells_who_had_it():
    second = ORCHARD.at(WALK.address)
    told = story(
        listening("ordinary"),
        OTHERS,
        every(3, frames.announce(second), start=70, stop=100),
        every(3, frames.announce(WALK), start=71, stop=100),
    )
    taken = (70.0, "taken", f"{ORCHARD.mac} used the address {WALK.address}, which {WALK.mac} had")
    assert taken in before(told, "duplicate-address")


def test_a_querier_that_is_gone_is_told_at_its_first_missed_turn():
    """Its interval is 20 s by its own word (RFC 9776 4.1.7)."""
    told = story(
        listening("mirror"),
        OTHERS,
        [event for each in (1, 21, 41) for event in at(each, frames.query(SWITCH, version=3, interval=20))],
        stream(1, stop=120, hz=5, levels=LOW),
        stream(1, BACKUP, start=100, stop=120, hz=5, levels=RIVAL),
    )
    assert [each for each in before(told, "sources-fighting") if "querier" in each[1]] == [
        (61.0, "querier-gone", f"{SWITCH.address} asked no more who listens to multicast")
    ]


def test_our_own_request_is_told_once_and_answers_to_queries_are_none():
    group = frames.universe_group(1)
    told = story(
        listening("mirror"),
        OTHERS,
        stream(1, stop=120, hz=5, levels=LOW),
        [event for each in (80, 95) for event in at(each, frames.query(SWITCH)) + at(each + 1, frames.report(LAPTOP, group))],
        at(82, frames.report(LAPTOP, frames.universe_group(2))),
        stream(1, BACKUP, start=100, stop=120, hz=5, levels=RIVAL),
    )
    assert [each for each in before(told, "sources-fighting") if each[1] == "own-join"] == [
        (81.0, "own-join", "this laptop asked for universes 1-2")
    ]
    assert kinds(told, "sources-fighting").count("querier") == 1


def test_the_link_and_its_state_before():
    link = {"name": "eth0", "kind": "wired", "present": True, "up": True}
    told = story(
        listening("mirror"),
        every(4, frames.announce(WALK), stop=60),
        stream(1, stop=60, hz=5, levels=LOW),
        [event for second in range(50) for event in mark(second, link=second not in (44, 45), **link)],
        stream(1, BACKUP, start=48, stop=60, hz=5, levels=RIVAL),
    )
    assert [each for each in before(told, "sources-fighting") if each[1] == "link"] == [
        (46.0, "link", "the link of eth0 was up, until then down"),
        (44.0, "link", "the link of eth0 was down, until then up"),
    ]


def test_only_alerts_that_stop_the_show_have_it():
    told = story(
        listening("mirror"),
        OTHERS,
        stream(1, stop=50, levels=LOW),
        at(35, frames.announce(ORCHARD)),
        stream(1, BACKUP, start=40, stop=50, levels=RIVAL),
    )
    assert {bool(each.before) for each in told.alerts if each.severity == "now"} == {True}
    assert {bool(each.before) for each in told.alerts if each.severity != "now"} == {False}


def test_a_flood_of_one_kind_takes_nothing_from_the_others():
    changes = Changes()
    changes.note(Change(5, "server", 0, 1, address="10.0.0.1"))
    for mac in range(3 * KEPT):
        changes.note(Change(10 + mac, "host", 0, mac + 2, mac + 1))
    kept = list(changes.between(0, 1 << 60, -(1 << 60)))
    assert [each.at for each in kept if each.what == "server"] == [5]
    assert [each.mac for each in kept if each.what == "host"] == list(range(2 * KEPT + 1, 3 * KEPT + 1))


@pytest.mark.parametrize(
    ("at", "text"), [(0, "10 s before"), (10_000_000_000, "at the same time"), (11_000_000_000, "1 s after")]
)
def test_when_it_was(at, text):
    assert said.when(at, 10_000_000_000) == text


@pytest.mark.parametrize("what", [*said.CHANGES, "of-a-newer-version"])
def test_every_kind_is_told_whatever_is_missing(what):
    text = said.told(what, {})
    assert text == text.strip().rstrip(".")
    assert text
    assert "None" not in text
