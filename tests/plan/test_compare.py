"""The plan against the rig. Frames by the standards' layouts and by libraries; what a story plants is told, and nothing else."""

from __future__ import annotations

from dataclasses import replace
from ipaddress import IPv4Address

import pytest

from netwatch.plan import toml_file
from netwatch.plan.compare import same_name
from netwatch.plan.expectation import expectation
from netwatch.plan.rig import Plan
from netwatch.plan.standing import Standing
from netwatch.plan.universes import lights
from netwatch.story.document import document
from netwatch.story.snapshot import Snapshot
from netwatch.words import plan_compare
from tests.plan.garden import garden
from tests.stories.acn_frames import discovery
from tests.stories.artnet_frames import reply
from tests.stories.boxes import BACKUP, BOATHOUSE, DESK, LAPTOP, ORCHARD, POND, SERVER, STRANGER, WALK, Box
from tests.stories.frames import DISCOVER, REQUEST, announce, dhcp, query, report
from tests.stories.playing import Event
from tests.stories.script import Line, at, every, listening, quiet, story, stream

PLAN = """
name = "Mill"
[[subnet]]
network = "10.0.0.0/24"
[dhcp]
server = "10.0.0.1"
first = "10.0.0.100"
last = "10.0.0.199"
[querier]
device = "10.0.0.254"
[[device]]
name = "gatehouse desk"
place = "Gatehouse"
asset = "HG-1"
mac = "02:00:00:00:00:0a"
address = "10.0.0.10"
sends = ["1-2"]
priority = 100
[[device]]
name = "Lantern walk"
place = "First arch"
address = "10.0.0.21"
receives = [1]
[[device]]
name = "mill pond"
place = "Jetty"
mac = "02:00:00:00:00:16"
address = "10.0.0.22"
receives = ["0.0.0-0.0.1"]
[[device]]
name = "orchard"
place = "Hut"
address = "dhcp"
"""
MIRROR = listening("mirror")


def rig() -> Plan:
    return toml_file.parse(PLAN)


def desk(box: Box = DESK, universes: tuple[int, ...] = (1, 2), **how: object) -> list[Event]:
    return [event for each in universes for event in stream(each, box, hz=5, stop=30, **how)]  # type: ignore[arg-type]


def node(box: Box, *universes: int) -> list[Event]:
    return at(1, announce(box), *(report(box, f"239.255.0.{each}") for each in universes))


def given(box: Box, address: str, name: str = "") -> list[Event]:
    asks = dhcp(REQUEST, box, server=SERVER.address, requested=address, host_name=name)
    return at(2, dhcp(DISCOVER, box, host_name=name), asks)


WHOLE = [
    *at(0, announce(SERVER), query("core switch")), *desk(), *node(WALK, 1), *at(1, reply(POND, [0, 1])),
    *given(ORCHARD, "10.0.0.150", "orchard"),
]  # fmt: skip


def told(*lines: Line, plan: Plan | None = None) -> tuple[Standing, ...]:
    """What is told of each box; the story plays it cut in three ways, which must agree."""
    found = story(*lines, plan=plan or rig()).plan
    assert found is not None
    return found.standings


def states(standings: tuple[Standing, ...]) -> dict[str, str]:
    return {each.name: f"{each.state} {each.by}".strip() for each in standings}


def said(standings: tuple[Standing, ...], name: str) -> list[str]:
    (each,) = (each for each in standings if each.name == name)
    return [plan_compare.difference(found) for found in each.differences]


def test_a_rig_as_planned() -> None:
    assert states(told(MIRROR, WHOLE)) == {
        "gatehouse desk": "here MAC", "Lantern walk": "here address", "mill pond": "here MAC", "orchard": "here name",
    }  # fmt: skip


def test_the_list_shrinks_as_boxes_come_alive() -> None:
    assert states(told(MIRROR, at(0, query("core switch")))) == dict.fromkeys(
        ("gatehouse desk", "Lantern walk", "mill pond", "orchard"), "missing"
    )
    assert list(states(told(MIRROR, at(0, announce(POND)))).values()) == ["missing", "missing", "here MAC", "missing"]


@pytest.mark.parametrize(("change", "name", "sentence"), [
    ([*desk(DESK.at("10.0.0.77"))], "gatehouse desk", "address 10.0.0.77 instead of 10.0.0.10"),
    ([*desk(DESK, (1, 2), priority=120)], "gatehouse desk", "sends at priority 120 instead of 100"),
    ([*desk(DESK, (1, 2, 3))], "gatehouse desk", "sends sACN 3, which is not planned (planned: sACN 1-2)"),
    ([*desk(DESK, (1,))], "gatehouse desk", "does not send sACN 2"),
    ([*desk(DESK, (2, 3))], "gatehouse desk", "numbers are shifted, all are 1 higher: sACN 2-3 instead of sACN 1-2"),
    ([*desk(DESK, (17, 18))], "gatehouse desk", "numbers are shifted, all are 16 higher: sACN 17-18 instead of sACN 1-2"),
    ([*desk(DESK, (7,))], "gatehouse desk", "sends sACN 7 instead of sACN 1-2"),
    ([*desk(DESK.card("02:00:00:00:00:99"))], "gatehouse desk",
     "another network card: MAC 02:00:00:00:00:99 instead of 02:00:00:00:00:0a; perhaps a box was changed"),
    ([*desk(replace(DESK, name="rehearsal"))], "gatehouse desk", "calls itself rehearsal instead of gatehouse desk"),
])
def test_what_differs_at_the_desk(change: list[Event], name: str, sentence: str) -> None:
    rest = [event for event in WHOLE if event not in desk()]
    standings = told(MIRROR, rest, change)
    assert said(standings, name) == [sentence]
    assert [each.state for each in standings] == ["differs", "here", "here", "here"]


@pytest.mark.parametrize(("change", "name", "sentence"), [
    (node(WALK, 2), "Lantern walk", "receives sACN 2 instead of sACN 1"),
    (node(WALK, 1, 2), "Lantern walk", "receives sACN 2, which is not planned (planned: sACN 1)"),
    (at(1, reply(POND, [1, 2])), "mill pond",
     "numbers are shifted, all are 1 higher: Art-Net 0.0.1-0.0.2 (1-2) instead of Art-Net 0.0.0-0.0.1 (0-1)"),
    (at(1, reply(POND, [0])), "mill pond", "does not receive Art-Net 0.0.1 (1)"),
    (at(1, reply(POND, [0, 1], long="frog pond", short="frog pond")), "mill pond", "calls itself frog pond instead of mill pond"),
    (given(ORCHARD, "10.0.0.201", "orchard"), "orchard", "address 10.0.0.201 instead of one by DHCP (10.0.0.100 to 10.0.0.199)"),
    (at(2, announce(ORCHARD), dhcp(DISCOVER, ORCHARD, host_name="orchard")), "orchard",
     "address 10.0.0.23 instead of one by DHCP (10.0.0.100 to 10.0.0.199)"),
])
def test_what_differs_at_a_node(change: list[Event], name: str, sentence: str) -> None:
    own = {"Lantern walk": WALK.mac, "mill pond": POND.mac, "orchard": ORCHARD.mac}[name]
    macs = bytes.fromhex(own.replace(":", ""))
    rest = [event for event in WHOLE if macs not in getattr(event, "frame", b"")]
    standings = told(MIRROR, rest, change, quiet(30))
    assert said(standings, name) == [sentence]
    assert sum(each.state == "differs" for each in standings) == 1


def test_extra_boxes() -> None:
    standings = told(MIRROR, WHOLE, at(3, announce(BOATHOUSE), announce(STRANGER)))
    assert [(each.name, each.state) for each in standings[4:]] == [("10.0.0.24", "extra"), ("192.168.77.1", "extra")]


def test_this_laptop_is_not_extra() -> None:
    assert len(told(MIRROR, WHOLE, at(3, announce(LAPTOP)))) == 4


def test_a_box_that_moved_is_where_it_is_now() -> None:
    standings = told(MIRROR, at(0, announce(POND)), every(5, announce(POND.at("10.0.0.80")), start=30, stop=120))
    assert said(standings, "mill pond") == ["address 10.0.0.80 instead of 10.0.0.22"]
    back = told(MIRROR, at(0, announce(POND.at("10.0.0.80"))), every(5, announce(POND), start=30, stop=120))
    assert said(back, "mill pond") == []


def test_names_go_before_addresses() -> None:
    """The desk and its backup changed addresses: the names tell who is who."""
    text = PLAN + '[[device]]\nname = "gatehouse backup"\naddress = "10.0.0.11"\n'
    plan = toml_file.parse(text.replace('mac = "02:00:00:00:00:0a"\n', ""))
    swapped = stream(1, BACKUP.at("10.0.0.10"), hz=5, stop=30, priority=90)
    standings = told(MIRROR, desk(DESK.at("10.0.0.11")), swapped, plan=plan)
    found = {each.name: each for each in standings}
    assert (found["gatehouse desk"].by, found["gatehouse backup"].by) == ("name", "name")
    assert said(standings, "gatehouse desk") == ["address 10.0.0.11 instead of 10.0.0.10"]


def test_from_an_ordinary_port_silence_proves_nothing() -> None:
    """What is not heard is not told as lacking; what is heard and not planned is."""
    ordinary = listening("ordinary")
    assert states(told(ordinary, desk(DESK, (1,)), node(WALK)))["gatehouse desk"] == "here MAC"
    strange = told(ordinary, desk(DESK, (1, 9)))
    assert said(strange, "gatehouse desk") == ["sends sACN 9, which is not planned (planned: sACN 1-2)"]


def test_a_list_of_its_own_tells_what_is_not_sent() -> None:
    """E1.31-2018 8: a source lists every universe that it sends."""
    ordinary = listening("ordinary")
    standings = told(ordinary, desk(DESK, (1,)), every(10, discovery(DESK, [1]), stop=40))
    assert said(standings, "gatehouse desk") == ["does not send sACN 2"]
    assert said(told(ordinary, desk(DESK, (1,)), every(10, discovery(DESK, [1, 2]), stop=40)), "gatehouse desk") == []


def test_synchronization_is_no_universe_of_light() -> None:
    """E1.31-2018 8.5 and 11.2: sources list the universe of their synchronization, and receivers ask for it."""
    standings = told(
        MIRROR, desk(DESK, (1, 2), sync=99), every(10, discovery(DESK, [1, 2, 99]), stop=30), at(1, announce(WALK)),
        at(2, report(WALK, "239.255.0.1"), report(WALK, "239.255.0.99")),
    )
    assert said(standings, "gatehouse desk") == said(standings, "Lantern walk") == []


def test_one_universe_each_and_all_one_higher() -> None:
    """The desk's numbers are right and each node listens one beside: the numbering, not three slips."""
    nodes = "".join(f'[[device]]\nname = "{box.name}"\nmac = "{box.mac}"\nreceives = [{n}]\n'
                    for n, box in enumerate((WALK, POND, ORCHARD, BOATHOUSE), 1))
    plan = toml_file.parse(nodes)
    wrong = [node(WALK, 2), node(POND, 3), node(ORCHARD, 4), node(BOATHOUSE, 5)]
    standings = told(MIRROR, *wrong, quiet(30), plan=plan)
    assert {found.what for each in standings for found in each.differences} == {"numbering"}
    one = told(MIRROR, node(WALK, 2), node(POND, 2), node(ORCHARD, 3), node(BOATHOUSE, 4), quiet(30), plan=plan)
    assert [found.what for each in one for found in each.differences] == ["receives"]


@pytest.mark.parametrize(("planned", "heard", "same"), [
    ("Lantern walk 1", "lantern-walk-1", True), ("Lantern walk 1", "LANTERN_WALK_1", True),
    ("Lantern walk 1", "Lantern walk 2", False), ("Cloud pergola, east side", "Cloud pergola, ea", True),
    ("Cloud pergola, east side", "Cloud pergola", False), ("", "", False),
])
def test_names(planned: str, heard: str, same: bool) -> None:
    """Host names hold letters, digits and hyphens alone (RFC 1123 2.1); a short name has 17 characters (Art-Net 4 p.24)."""
    assert same_name(planned, heard) == same


# ---- what the plan does to checks, alerts and JSON ----


def told_whole(*lines: Line, plan: Plan | None = None) -> Snapshot:
    return story(*lines, plan=plan or rig())


def test_the_check() -> None:
    checks = {name: told_whole(*lines).checks[-1] for name, lines in {
        "fine": (MIRROR, WHOLE), "not yet": (MIRROR, desk()), "wrong": (MIRROR, WHOLE, desk(DESK, (9,))),
        "extra": (MIRROR, WHOLE, at(3, announce(BOATHOUSE))),
    }.items()}  # fmt: skip
    assert {name: check.state for name, check in checks.items()} == {
        "fine": "FINE", "not yet": "NOT YET", "wrong": "WRONG", "extra": "FINE",
    }  # fmt: skip
    assert checks["fine"].text == "4 of 4 here as planned."
    assert checks["not yet"].text == "1 of 4 here as planned, 3 not heard."
    assert checks["extra"].text == "4 of 4 here as planned, 1 extra."
    assert story(MIRROR, WHOLE).checks[-1].state == "NOT USED HERE"


def test_alerts_use_its_names_and_say_where_boxes_stand() -> None:
    twins = every(3, announce(WALK), announce(STRANGER.at(WALK.address)), start=5, stop=29)
    snapshot = told_whole(MIRROR, WHOLE, twins)
    (alert,) = (each for each in snapshot.alerts if each.code == "duplicate-address")
    assert alert.places == ("Lantern walk: First arch",)
    moved = told_whole(MIRROR, at(0, announce(POND)), every(5, announce(POND.at("10.0.0.80")), start=30, stop=150))
    (alert,) = (each for each in moved.alerts if each.code == "address-moved")
    assert (alert.title, alert.severity) == ("mill pond moved from 10.0.0.22 to 10.0.0.80", "soon")
    assert alert.places == ("mill pond: Jetty",)


def test_a_server_that_is_not_in_the_plan() -> None:
    """Two servers of one subnet: with a plan the stranger is named, and it is certain."""
    heard = at(2, dhcp(REQUEST, WALK, server=SERVER.address, requested="10.0.0.150"))
    rival = at(5, dhcp(REQUEST, POND, server="10.0.0.9", requested="10.0.0.160"))
    (alert,) = (each for each in told_whole(MIRROR, heard, rival).alerts if each.code == "two-dhcp-servers")
    assert (alert.facts["strangers"], alert.certainty) == (["10.0.0.9"], "certain")


def test_what_the_rules_read_of_a_plan() -> None:
    expected = expectation(garden())
    assert (expected.servers, expected.pools) == (("10.77.0.2",), (("10.77.100.10", "10.77.100.99"),))
    assert expected.networks == ("10.77.0.0/16", "2.0.0.0/8", "192.168.30.0/24")
    assert expected.vlans == (10, 20, 30)
    senders = {(each.protocol, each.universe): each.senders for each in expected.universes}
    assert senders["e131", 1] == ("gatehouse desk", "gatehouse backup")
    assert senders["artnet", 16] == ("pixel server",)
    assert expected.name_of("02:48:47:00:00:07", ()) == "lantern walk 2"
    assert expected.name_of("02:00:00:00:00:01", [int(IPv4Address("10.77.0.21"))]) == "lantern walk"
    assert expected.name_of("02:00:00:00:00:01", [int(IPv4Address("10.77.0.31"))]) == ""


def test_the_json_document() -> None:
    made = document(told_whole(MIRROR, WHOLE, desk(DESK, (9,))), ())["plan"]
    assert [made[each] for each in ("name", "here", "differs", "missing", "extra")] == ["Mill", 3, 1, 0, 0]
    first = made["devices"][0]
    assert {key: first[key] for key in ("state", "name", "place", "asset", "by", "mac", "addresses", "names")} == {
        "state": "differs", "name": "gatehouse desk", "place": "Gatehouse", "asset": "HG-1", "by": "MAC",
        "mac": DESK.mac, "addresses": ["10.0.0.10"], "names": ["gatehouse desk"],
    }  # fmt: skip
    assert first["differences"] == [{
        "what": "sends", "planned": [{"protocol": "e131", "universe": n} for n in (1, 2)],
        "heard": [{"protocol": "e131", "universe": n} for n in (1, 2, 9)], "extra": [{"protocol": "e131", "universe": 9}],
        "lacking": [], "step": None, "text": "sends sACN 9, which is not planned (planned: sACN 1-2)",
    }]  # fmt: skip
    assert "plan" not in document(story(MIRROR, WHOLE), ())


def test_universes_of_a_plan_are_lights() -> None:
    assert rig().devices[0].sends == lights("1-2")
