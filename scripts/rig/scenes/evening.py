"""Evenings in Hollowbrook Garden, a winter light trail that we made up: the captures of captures/."""

from __future__ import annotations

from dataclasses import dataclass

from rig import dhcp
from rig.scenario import Stage, scenario


@dataclass(frozen=True, slots=True)
class Demo:
    """A capture of captures/: which scenario, from which port."""

    scenario: str
    port: str


DEMOS = {"01-first-evening": Demo("first_evening", "ordinary")}


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
    stage.desk(gatehouse, range(1, 6), "gatehouse desk", resting=(2, 4, 5), slots=range(12), hz=15)
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
