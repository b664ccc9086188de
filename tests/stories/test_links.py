"""Stories of cables and switches: links that are full (L3), come and go (L4), wait for spanning tree (L7), carry VLANs (L8).

Timers: IEEE 802.1D-2004 17.14 (hello 2 s, forward delay 15 s, max age 20 s; from memory), RFC 2131 4.4.2, RFC 5227 2.1.1. Shares
and counts are common practice, no source. Line time of a frame: RFC 5180 A.1.
"""

from __future__ import annotations

from dataclasses import replace

from netwatch.numbers import DEFAULTS
from netwatch.plan import toml_file
from netwatch.plan.expected import Expected as Plan
from netwatch.plan.expected import ExpectedDevice, ExpectedUniverse
from tests.stories import frames
from tests.stories.boxes import BOATHOUSE, DESK, LAPTOP, ORCHARD, POND, SERVER, SWITCH, WALK, Box
from tests.stories.frames import DECLINE, DISCOVER, REQUEST, announce, chatter, dhcp, probe
from tests.stories.playing import Event
from tests.stories.script import at, every, expect, expect_silent, listening, mark, quiet, story, stream
from tests.stories.switch_frames import bpdu, lldp

MIRROR, ORDINARY = listening("mirror", laptop=None), listening("ordinary")
FEW = bytes((9,)) * 24


def light(universe: int = 1, who: Box = DESK, hz: float = 10, stop: float = 40, **given: object) -> list[Event]:
    return stream(universe, who, hz, stop=stop, **{"levels": FEW, **given})  # type: ignore[arg-type]


# ---- bottleneck ----


def camera(mbit: float, stop: float = 25) -> list[Event]:
    """Pictures to everybody; a frame of 1,442 octets and 24 of line time."""
    return every(1_466 * 8 / mbit / 1e6, chatter(ORCHARD, size=1_400), start=1, stop=stop)


def on_a_link(mbit: float, where: str = "ordinary") -> object:
    return listening(where, LAPTOP if where == "ordinary" else None, speed=int(mbit * 1e6), kind="wired")


def test_pictures_fill_the_link() -> None:
    story(
        on_a_link(1), light(), camera(0.95),
        expect("bottleneck", subject="rig", severity="now", certainty="certain", opened=(8, 22), facts={"link_mbit": 1.0}),
        expect("bottleneck", subject="port:eth0", severity="note"),
    )  # fmt: skip


def test_what_this_laptop_asked_for_fills_its_link_alone() -> None:
    """Four full universes at 40 Hz are 0.9 Mbit/s."""
    groups = [frames.report(LAPTOP, frames.universe_group(universe)) for universe in range(1, 5)]
    asked = [replace(event, direction=2) for event in at(0.1, *groups)]  # type: ignore[type-var]
    story(
        on_a_link(1), asked, *(stream(universe, DESK, 40, stop=25) for universe in range(1, 5)),
        expect("bottleneck", subject="rig", severity="soon", opened=(8, 22)),
    )  # fmt: skip


def test_a_mirror_port_that_is_full_spoils_its_own_view() -> None:
    story(on_a_link(1, "mirror"), *(stream(universe, DESK, 40, stop=25) for universe in range(1, 5)),
          expect("bottleneck", subject="rig", severity="quality", facts={"mirror": True}))


def test_one_way_at_a_time() -> None:
    marks = [mark(second, link=True, up=True, speed=100_000_000, duplex="half", kind="wired") for second in range(12)]
    story(
        listening("ordinary"), light(stop=12), *marks,
        expect("bottleneck", severity="tidy", certainty="certain", facts={"half": True}),
    )


def test_room_is_left_or_the_speed_is_not_known() -> None:
    """A slow adapter is a note, no more; on Wi-Fi the speed says nothing."""
    story(on_a_link(10), light(), camera(0.95, 22), expect("bottleneck", subject="port:eth0", severity="note"), expect_silent())
    story(ORDINARY, light(), camera(0.95, 22), expect_silent("bottleneck"))
    story(listening("wifi", speed=1_000_000, kind="wifi"), light(), camera(0.95, 22), expect_silent("bottleneck"))
    story(on_a_link(1000), light(), camera(0.95, 22), expect_silent("bottleneck"))


# ---- link-flapping ----


def rebooted(second: float, xid: int, who: Box = WALK, address: str = "10.0.0.50") -> list[Event]:
    """Its link is back: it asks for the address it had (INIT-REBOOT), then whether it is free."""
    asked = at(second, dhcp(REQUEST, who, requested=address, xid=xid))
    return [
        *asked, *at(second + 0.5, probe(who, address)), *at(second + 1.5, probe(who, address)),
        *at(second + 3, announce(who, address)),
    ]


def test_a_node_with_a_loose_plug() -> None:
    """Four times in 38 s; it asked for light, so that it matters."""
    story(
        ORDINARY, light(stop=60), at(1, frames.report3(WALK, frames.universe_group(1))),
        *(rebooted(second, i) for i, second in enumerate((7, 17, 29, 45))),
        expect("link-flapping", subject=f"host:{WALK.mac}", severity="soon", certainty="likely", opened=(29, 30),
               facts={"times": 4}),
    )  # fmt: skip


def test_while_the_rig_is_built_up_plugs_come_and_go() -> None:
    words = [event for i, second in enumerate((8, 18, 28)) for event in rebooted(second, i)]
    story(
        ORDINARY, light(), at(1, frames.report3(WALK, frames.universe_group(1))), words, expect("link-flapping", severity="note"),
        phase="building",
    )


def test_this_laptops_own_plug_while_the_rig_is_built_up() -> None:
    """It cuts off all that is heard here: a note until a universe has run here for five minutes, or the plan expects one."""
    lost = links(10, 25, 40)
    story(ORDINARY, light(stop=60), lost, expect("link-flapping", severity="note", facts={"in_a_show": "soon"}), phase="building")
    plan = Plan(universes=(ExpectedUniverse(protocol="e131", universe=1),))
    story(ORDINARY, light(stop=60), lost, expect("link-flapping", severity="soon"), plan=plan, phase="building")
    story(
        ORDINARY, light(hz=2, stop=370), links(310, 325, 340, stop=370), expect("link-flapping", severity="soon"),
        phase="building",
    )


def test_a_planned_box_is_loose() -> None:
    plan = Plan(devices=(ExpectedDevice(name="lantern walk", mac=WALK.mac),))
    story(MIRROR, light(), *(rebooted(second, i) for i, second in enumerate((0.2, 9, 17, 25))),
          expect("link-flapping", severity="soon", opened=(25, 26)), plan=plan)


def test_a_box_with_a_fixed_address_asks_each_time_whether_it_is_free() -> None:
    words = [
        event for second in (8, 25, 45) for event in [*at(second, probe(POND, POND.address)), *at(second + 3, announce(POND))]
    ]
    story(ORDINARY, light(stop=60), at(1, announce(POND)), words,
          expect("link-flapping", subject=f"host:{POND.mac}", severity="note", opened=(45, 46)))


def test_a_desk_that_comes_and_goes_takes_its_light_with_it() -> None:
    gone = [(10, 14), (26, 30), (42, 47)]
    parts = [(0, 10), (14, 26), (30, 42), (47, 56)]
    sent = [event for begin, end in parts for event in light(1, DESK, 20, start=begin, stop=end, first=int(begin * 20))]
    story(
        MIRROR, sent, light(2, POND, stop=56), *(rebooted(end - 0.2, i, DESK, DESK.address) for i, (_, end) in enumerate(gone)),
        expect("link-flapping", subject=f"host:{DESK.mac}", severity="soon", opened=(46, 48), facts={"universes": [1]}),
    )  # fmt: skip


def links(*lost: float, stop: float = 60) -> list[Event]:
    """A mark a second; the link is away for 2 s at each of these."""
    return [
        event
        for second in range(int(stop))
        for event in mark(second, link=not any(0 <= second - each < 2 for each in lost), up=True)
    ]


def test_this_laptops_own_link_is_lost_and_the_port_may_sleep() -> None:
    told = story(
        ORDINARY, light(stop=60), at(2, lldp(sleeps=True)), links(10, 25, 40),
        expect("link-flapping", subject="port:eth0", severity="soon", certainty="certain", opened=(39.9, 41),
               facts={"what": "own", "times": 3, "saves_power": True}),
    )  # fmt: skip
    assert "Energy Efficient" in next(each for each in told.alerts if each.code == "link-flapping").steps[-1][0]


def test_a_link_between_switches_comes_and_goes() -> None:
    """Each change is flagged for 35 s (max age and forward delay)."""
    flags = [event for begin in (15, 65, 125, 185) for event in every(2, bpdu(changed=True), start=begin, stop=begin + 35)]
    calm = every(2, bpdu(), start=0.5, stop=240)
    story(ORDINARY, light(hz=2, stop=240), calm, flags,
          expect("link-flapping", subject="rig", severity="soon", certainty="likely", opened=(195, 196), facts={"what": "tree"}))


def test_boxes_that_start_for_good_reasons() -> None:
    """Two restarts; a load-in box by box; nobody answers DHCP; an address that is taken; a switch that watches its ports."""
    arrivals = [replace(ORCHARD, mac=f"02:00:00:00:02:{i:02x}").at(f"10.0.1.{i}") for i in range(1, 8)]
    flags = [
        event
        for i, box in enumerate(arrivals)
        for event in [*at(30 + 50 * i, announce(box)), *at(31 + 50 * i, bpdu(changed=True))]
    ]
    in_vain = [event for second in (3, 7, 15, 31, 91, 391) for event in at(second, dhcp(DISCOVER, BOATHOUSE, xid=second))]
    taken = [
        event for second in range(5, 100, 12)
        for event in at(second, dhcp(DISCOVER, POND, xid=second),
                        dhcp(REQUEST, POND, server=SERVER.address, requested="10.0.0.77"),
                        dhcp(DECLINE, POND, server=SERVER.address, requested="10.0.0.77"))
    ]  # fmt: skip
    watched = every(30, probe(SWITCH, "10.0.0.21"), start=4, stop=380)
    story(
        ORDINARY, light(hz=1, stop=420), rebooted(10, 1), rebooted(200, 2), flags, in_vain, taken, watched,
        at(1, announce(SWITCH)),
        expect_silent("link-flapping"),
    )  # fmt: skip


def test_one_start_with_many_words() -> None:
    """Refused, asked anew, served, probed, announced, and later prolonged."""
    first = [
        *at(5, dhcp(REQUEST, WALK, requested="10.0.9.9", xid=1)),
        *at(5.1, dhcp(frames.NAK, WALK, server=SERVER.address, by=SERVER, xid=1)),
        *at(6, dhcp(DISCOVER, WALK, xid=2)), *at(6.2, dhcp(REQUEST, WALK, server=SERVER.address, requested="10.0.0.50", xid=2)),
        *at(7, probe(WALK, "10.0.0.50")), *at(8.5, probe(WALK, "10.0.0.50")), *at(11, announce(WALK, "10.0.0.50")),
        *every(20, dhcp(REQUEST, WALK, ciaddr="10.0.0.50", xid=3), start=20, stop=100),
    ]  # fmt: skip
    story(ORDINARY, light(hz=1, stop=110), first, expect_silent("link-flapping"), numbers=replace(DEFAULTS, starts_least=2))


# ---- spanning-tree-wait ----


def plugged(second: float, stop: float) -> list[Event]:
    """Marks: no link until then."""
    return [event for each in range(int(stop)) for event in mark(each, link=each >= second, up=True)]


def test_the_laptops_port_waits_two_times_fifteen_seconds() -> None:
    story(
        ORDINARY, plugged(5, 50), every(2, bpdu(), start=5.5, stop=50), light(2, DESK, start=35.2, stop=50),
        expect("spanning-tree-wait", subject="port:eth0", severity="quality", certainty="certain", opened=(35.2, 35.8),
               facts={"bpdus": 15, "waits": False}),
    )  # fmt: skip


def test_it_is_told_while_it_waits_where_light_came_before() -> None:
    """The light that is missing meanwhile is its consequence; a port that passes at once says nothing."""
    before, tree = light(2, DESK, stop=20), every(2, bpdu(), start=24.5, stop=70)
    lost = [event for each in range(70) for event in mark(each, link=not 20 <= each < 24, up=True)]
    story(
        ORDINARY, lost, before, tree, light(2, DESK, start=54.2, stop=70),
        expect("spanning-tree-wait", severity="quality", opened=(26, 27.5)), expect_silent("universe-silent"),
    )  # fmt: skip
    story(ORDINARY, lost, before, tree, light(2, DESK, start=25, stop=70), expect_silent("spanning-tree-wait"))


def test_an_old_tree_is_believed_in_first() -> None:
    story(MIRROR, plugged(5, 70), every(2, bpdu(), start=6, stop=70), at(56, announce(WALK)), light(2, start=56.5, stop=70),
          expect("spanning-tree-wait", opened=(56, 57)))


def test_quick_ports_slow_boxes_and_nobody_there() -> None:
    """An edge port; a box that speaks late while no spanning tree is heard; a network silent for longer; no link-up."""
    tree = every(2, bpdu(), start=5.5, stop=50)
    mine = [replace(event, direction=2) for event in every(5, announce(LAPTOP), start=6, stop=60)]  # type: ignore[type-var]
    story(ORDINARY, plugged(5, 50), tree, light(start=5.5, stop=50), expect_silent("spanning-tree-wait"))
    story(ORDINARY, plugged(5, 50), mine, light(start=35.2, stop=50), expect_silent("spanning-tree-wait"))
    story(ORDINARY, plugged(5, 60), tree, mine, light(start=45.5, stop=60), expect_silent("spanning-tree-wait"))
    story(ORDINARY, every(2, bpdu(), start=0, stop=50), light(start=31, stop=50), expect_silent("spanning-tree-wait"))


# ---- trunk-port ----


def test_two_networks_come_with_tags() -> None:
    told = story(
        ORDINARY, light(vlan=10, stop=30), every(5, announce(POND, vlan=20), start=3, stop=30),
        expect("trunk-port", subject="port:eth0", severity="soon", certainty="certain", opened=(3, 3.5),
               facts={"vlans": [10, 20]}),
    )  # fmt: skip
    assert told.alerts[0].title == "eth0 gets several VLANs at once: 10, 20"


def test_the_switch_names_another_vlan_than_the_plan() -> None:
    story(
        ORDINARY, light(stop=30), every(10, lldp(vlan=20), start=1, stop=30),
        expect("trunk-port", severity="soon", certainty="certain", opened=(1, 1.5), facts={"vlan": 20, "planned": [10, 12]}),
        plan=Plan(vlans=(10, 12)),
    )  # fmt: skip


def test_the_vlans_of_a_plan_file() -> None:
    """If one subnet does not say its VLAN, the port may be in that one."""
    subnets = '[[subnet]]\nnetwork = "10.0.0.0/16"\nvlan = 12\n[[subnet]]\nnetwork = "2.0.0.0/8"\n'
    heard = [ORDINARY, light(stop=30), every(10, lldp(vlan=20), start=1, stop=30)]
    story(*heard, expect("trunk-port", facts={"vlan": 20, "planned": [10, 12]}), plan=toml_file.parse(subnets + "vlan = 10"))
    story(*heard, expect_silent("trunk-port"), plan=toml_file.parse(subnets + "vlan = 20"))
    story(*heard, expect_silent("trunk-port"), plan=toml_file.parse(subnets))


def test_a_mirror_of_a_trunk_is_a_note() -> None:
    story(
        MIRROR, light(vlan=10, stop=15), light(2, WALK, vlan=20, stop=15),
        expect("trunk-port", severity="note", facts={"mirror": True}),
    )


def test_tags_without_a_trunk() -> None:
    """Priority tags (VID 0); one VLAN alone; one box that tags by mistake; two VLANs, but one after the other."""
    story(ORDINARY, light(vlan=0, stop=15), light(2, POND, stop=15), expect_silent("trunk-port"))
    story(ORDINARY, light(vlan=10, stop=15), light(2, POND, vlan=10, stop=15), expect_silent("trunk-port"))
    story(ORDINARY, light(stop=15), every(3, announce(POND, vlan=7), stop=15), expect_silent("trunk-port"))
    story(ORDINARY, light(vlan=10, stop=10), light(2, POND, vlan=20, start=75, stop=85), expect_silent("trunk-port"))
    story(ORDINARY, light(stop=15), every(5, lldp(vlan=10), stop=15), expect_silent("trunk-port"), plan=Plan(vlans=(10,)))


def test_it_was_replugged() -> None:
    story(
        ORDINARY, light(vlan=10, stop=10), light(2, POND, vlan=20, stop=10), light(3, WALK, start=11, stop=150), quiet(1),
        expect("trunk-port", closed=(60, 90)),
    )  # fmt: skip
