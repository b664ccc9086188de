"""Evenings in Hollowbrook Garden, a winter light trail that we made up: the captures of captures/."""

from __future__ import annotations

from dataclasses import dataclass

from rig import dhcp, igmp
from rig.lan import Host
from rig.scenario import Stage, scenario


@dataclass(frozen=True, slots=True)
class Demo:
    """A capture of captures/: which scenario, from which port."""

    scenario: str
    port: str


DEMOS = {"01-first-evening": Demo("first_evening", "ordinary"), "02-a-long-evening": Demo("long_evening", "ordinary")}


@scenario("Hollowbrook Garden's first evening: a second DHCP server, then light that the switch drops", slow=True,
          needs=("dnsmasq", "udhcpc"))
def first_evening(stage: Stage) -> None:
    lap = stage.laptop()
    rack, gatehouse = stage.hosts(rack="10.77.0.2/16", gatehouse="10.77.0.10/16")
    lantern, pond, orchard, boathouse = (stage.host(name) for name in ("lantern-walk", "mill-pond", "orchard", "boathouse"))
    stage.prime(membership=45)
    stage.begin()
    # The rack thinks before it answers, so that boxes which come later take the rival's address.
    dhcp.serve(rack, "10.77.100.10", "10.77.100.99", delay=1)
    stage.say("rack", "DHCP server of the trail: 10.77.100.10 to 99, 255.255.0.0")
    stage.at(1)
    stage.desk(gatehouse, range(1, 6), "gatehouse desk", resting=(2, 4, 5), slots=range(12))
    stage.at(2)
    stage.join(lap, 1, 2, 3, 4, 5)
    for node, universes in ((lantern, (1, 2)), (pond, (3,))):
        dhcp.udhcpc(node)
        stage.say(node.name, "is switched on, asks for an address")
        stage.join(node, *universes)
    stage.at(15)
    rival = stage.host("kiosk-router", "192.168.77.1/24")
    dhcp.serve(rival, "192.168.77.50", "192.168.77.99", mask="255.255.255.0", router="192.168.77.1")
    stage.say("kiosk-router", "the tea kiosk's router is plugged in: a second DHCP server, 192.168.77.50 to 99", "rival")
    for second, node, universe in ((20, orchard, 4), (26, boathouse, 5)):
        stage.at(second)
        dhcp.udhcpc(node)
        stage.say(node.name, "is switched on, asks for an address")
        stage.join(node, universe)
    stage.at(70)
    core = stage.host("core", "10.77.0.1/16")
    stage.querier(core, every=8, version=3)
    stage.at(92)


@scenario("Hollowbrook Garden, ten minutes: four things go wrong, one after another, with the standards' own timers", slow=True,
          needs=("dnsmasq", "udhcpc"))
def long_evening(stage: Stage) -> None:
    lap = stage.laptop()
    # As the switch comes from its maker: members are remembered for 260 s; it believes in a querier for longer than it should.
    stage.lan.set(mcast_querier_interval=120_000)
    boxes = {"rack": 2, "gatehouse": 10, "core": 1, "lantern-walk": 21, "mill-pond": 22, "ice-arch": 23}
    rack, gatehouse, core, lantern, pond, arch = (stage.host(name, f"10.77.0.{last}/16") for name, last in boxes.items())
    orchard, boathouse = (stage.host(name) for name in ("orchard", "boathouse"))
    stage.begin()
    _evening_begins(stage, rack, core)
    desk = stage.desk(gatehouse, range(1, 7), "gatehouse desk", resting=range(2, 7), slots=range(12))
    stage.at(3)
    stage.join(lap, 1, 2, 3, 4, 5, 6)
    for host, universe in ((lantern, 1), (pond, 3), (arch, 6)):
        host.announce()
        stage.join(host, universe)
    stage.at(60)
    kiosk = stage.host("kiosk-router", "192.168.77.1/24")
    dhcp.serve(kiosk, "192.168.77.50", "192.168.77.99", mask="255.255.255.0", router="192.168.77.1")
    stage.say("kiosk-router", "the tea kiosk's router is plugged in: a second DHCP server", "rival")
    for second, host, universe in ((70, orchard, 4), (80, boathouse, 5)):
        stage.at(second)
        dhcp.udhcpc(host)
        stage.join(host, universe)
        stage.say(host.name, "is switched on, asks for an address")
    stage.at(100)
    desk.rest(1)
    _same_address(stage, pond)
    stage.at(230)
    desk.run(3)
    stage.at(400)
    stage.querier(core, every=60)
    stage.at(460)
    _rival_desk(stage)
    stage.at(560)
    desk.rest(3)
    stage.at(600)


def _evening_begins(stage: Stage, rack: Host, core: Host) -> None:
    dhcp.serve(rack, "10.77.100.10", "10.77.100.99", delay=1, lease="12h")
    stage.say("rack", "DHCP server of the trail: 10.77.100.10 to 99, 255.255.0.0")
    stage.at(8)
    igmp.ask_once(core, "10.77.0.1")
    stage.say("core", "its querier asks for the last time: somebody has switched it off in a menu", "querier-off")


def _same_address(stage: Stage, pond: Host) -> None:
    """The hired snow machine comes with the mill pond's address, and leaves again."""
    stage.at(140)
    for host in (pond, stage.host("snow-machine", "10.77.0.22/16")):
        host.announce()
        host.start("arping", "-q", "-c", "10", "-W", "4", "-i", "eth0", "10.77.0.10", hidden=False)
    stage.say("snow-machine", "a hired snow machine is set to the mill pond's address, 10.77.0.22", "intruder")
    stage.at(190)
    stage.lan.unplug("snow-machine")
    stage.say("snow-machine", "is unplugged")


def _rival_desk(stage: Stage) -> None:
    """Somebody rehearses with the visitor desk on a universe that is in use."""
    visitor = stage.host("visitor-desk", "10.77.0.12/16")
    rival = stage.desk(visitor, (2,), "visitor desk", base=180, slots=range(12), resting=(2,), cause="second-desk")
    stage.at(510)
    rival.end()
    stage.say("visitor-desk", "stops, with a goodbye")
