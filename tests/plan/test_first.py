"""A first plan from what was heard: it says what the story's boxes are. Frames by the standards' layouts and by stupidArtnet."""

from __future__ import annotations

from netwatch.plan import toml_file
from netwatch.plan.first import first_plan
from netwatch.plan.rig import Plan
from netwatch.plan.universes import lights
from netwatch.plan.write import text
from netwatch.story.play import Player
from tests.plan.garden import bare
from tests.stories.acn_frames import discovery
from tests.stories.artnet_frames import reply
from tests.stories.boxes import DESK, LAPTOP, ORCHARD, POND, SERVER, STRANGER, WALK
from tests.stories.frames import ACK, DISCOVER, REQUEST, announce, dhcp, query, report
from tests.stories.playing import Event, play
from tests.stories.script import at, listening, stream
from tests.stories.switch_frames import lldp

HEARD = [
    *at(0, announce(SERVER), announce(POND), announce(LAPTOP), query("core switch")),
    *at(1, dhcp(DISCOVER, ORCHARD, host_name="orchard"), dhcp(REQUEST, ORCHARD, server=SERVER.address, requested="10.0.0.150")),
    *at(1.5, dhcp(ACK, ORCHARD, server=SERVER.address, yiaddr="10.0.0.150", mask="255.255.0.0", lease=60, by=SERVER)),
    *at(2, report(WALK, "239.255.0.7"), reply(POND, [0, 1]), report(LAPTOP, "239.255.0.9")),
    *stream(1, DESK, stop=5, priority=120), *stream(2, DESK, stop=5, priority=120), *at(4, discovery(DESK, [1, 2, 3])),
]  # fmt: skip


def made(heard: list[Event]) -> tuple[Plan, list[str]]:
    here = listening(None, LAPTOP)
    player: Player = play(sorted(heard, key=lambda each: each.time), here.ports)
    return first_plan(player.network, player.clock.now or 0)


def test_it_says_what_was_heard() -> None:
    plan, notes = made(HEARD)
    found = {each.name: each for each in plan.devices}
    assert sorted(found) == ["box 0001", "box 0015", "box 00fe", "gatehouse desk", "mill pond", "orchard"]
    desk, pond, orchard, walk = (found[each] for each in ("gatehouse desk", "mill pond", "orchard", "box 0015"))
    assert (str(desk.address), desk.sends, desk.priority, desk.mac) == ("10.0.0.10", lights("1-3"), 120, DESK.mac)
    assert (pond.receives, str(pond.address)) == (lights("0.0.0-0.0.1"), POND.address)
    assert (orchard.dhcp, orchard.address, walk.receives) == (True, None, lights("7"))
    assert [str(each.network) for each in plan.subnets] == ["10.0.0.0/16"]
    assert plan.dhcp is not None
    assert (str(plan.dhcp.server), str(plan.querier)) == (SERVER.address, "10.0.0.254")
    assert any("10.0.0.1 was heard to give out 10.0.0.150 to 10.0.0.150" in note for note in notes)


def test_it_can_be_read_back() -> None:
    plan, notes = made(HEARD)
    assert bare(toml_file.parse(text(plan, notes)).devices) == bare(plan.devices)


def test_the_vlan_is_as_the_switch_names_it() -> None:
    assert made(HEARD)[0].subnets[0].vlan is None
    plan, notes = made(HEARD + at(3, lldp(vlan=10)))
    assert [(str(each.network), each.vlan) for each in plan.subnets] == [("10.0.0.0/16", 10)]
    assert toml_file.parse(text(plan, notes)).subnets == plan.subnets


def test_two_servers_are_told() -> None:
    rival = at(3, dhcp(REQUEST, WALK, server=STRANGER.address, requested="192.168.77.9"))
    plan, notes = made(HEARD + rival)
    assert plan.dhcp is not None
    assert str(plan.dhcp.server) == SERVER.address
    assert "Not only 10.0.0.1 hands out addresses, but also 192.168.77.1: name in [dhcp] the one that should." in notes


def test_without_a_mask_none_is_made_up() -> None:
    plan, notes = made([*at(0, announce(DESK), announce(POND))])
    assert plan.subnets == ()
    assert any("No mask was heard" in note for note in notes)


def test_names_that_stand_twice_are_numbered() -> None:
    heard = [*at(0, reply(POND, [0], long="node"), reply(ORCHARD, [1], long="node"))]
    assert [each.name for each in made(heard)[0].devices] == ["node", "node 2"]
