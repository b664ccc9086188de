"""Networks of Open vSwitch: VLANs, a switch that prunes from the first report on, one that floods what nobody asked for."""

from __future__ import annotations

import threading

from rig import igmp
from rig.lan import Host
from rig.scenario import Stage, scenario
from rig.switches import OpenSwitch

AGE = 15
"""s: it forgets a member so long after its last report, and no sooner whatever it is told (measured)."""
SHORT = {"membership_s": 16.0, "querier_gone_s": 15.0, "querier_hint_s": 8.0, "response_s": 1.0}
LIGHT, HOUSE = 10, 20
"""VLANs."""


def snooping(stage: Stage, *, flood: bool, querier: bool = False) -> tuple[Host, Host, Host]:
    """Laptop, desk and node on a snooping switch, with a querier every 5 s or without; the captures run."""
    assert isinstance(stage.lan.switch, OpenSwitch)
    stage.lan.switch.snoop(age=AGE, flood=flood)
    lap = stage.laptop()
    core, gatehouse, lantern, pond = stage.hosts(
        core="10.77.0.1/16", gatehouse="10.77.0.10/16", lantern="10.77.0.21/16", pond="10.77.0.22/16",
    )
    stage.begin()
    if querier:
        stage.querier(core, every=5)
    stage.talk(lantern, gatehouse, pond, lantern)
    return lap, gatehouse, lantern


@scenario("a switch that prunes from the first report on, without a querier: members age out", settings=SHORT, switch=OpenSwitch)
def pruned(stage: Stage) -> None:
    lap, gatehouse, lantern = snooping(stage, flood=False)
    stage.desk(gatehouse, (1, 2), "gatehouse desk", resting=(2,))
    stage.at(2)
    stage.join(lap, 1, 2)
    stage.join(lantern, 1)
    stage.at(34)


@scenario("the same switch with a querier every 5 s: nothing ages out", settings=SHORT, switch=OpenSwitch)
def pruned_control(stage: Stage) -> None:
    lap, gatehouse, lantern = snooping(stage, flood=False, querier=True)
    stage.desk(gatehouse, (1, 2), "gatehouse desk", resting=(2,))
    stage.at(3)
    stage.join(lap, 1, 2)
    stage.join(lantern, 1)
    stage.at(34)


@scenario("a snooping switch that passes on to everybody what nobody asked for", settings=SHORT, switch=OpenSwitch)
def floods_unasked(stage: Stage) -> None:
    _, gatehouse, lantern = snooping(stage, flood=True)
    stage.join(lantern, 1)
    stage.desk(gatehouse, (1, 2, 3), "gatehouse desk", resting=(2, 3), cause="flood")
    stage.at(40)


@scenario("a node lives on flooding, the laptop's own join ends it: nobody asks who listens", settings=SHORT, switch=OpenSwitch)
def own_join(stage: Stage) -> None:
    lap, gatehouse, lantern = snooping(stage, flood=True)
    stage.desk(gatehouse, (1, 2), "gatehouse desk", resting=(2,))
    stage.join(lantern, 1)
    stage.at(22)
    stage.join(lap, 1)
    stage.at(36)


@scenario("the same join with a querier: the node is known, and stays lit", settings=SHORT, switch=OpenSwitch)
def own_join_control(stage: Stage) -> None:
    lap, gatehouse, lantern = snooping(stage, flood=True, querier=True)
    stage.desk(gatehouse, (1, 2), "gatehouse desk", resting=(2,))
    stage.join(lantern, 1)
    stage.at(22)
    stage.join(lap, 1)
    stage.at(36)


@scenario("the laptop is plugged into a trunk port: it hears the light's VLAN and the house's, tagged", switch=OpenSwitch)
def trunk_port(stage: Stage) -> None:
    stage.lan.host("lap", "10.77.0.99/16", trunk=(LIGHT, HOUSE), heard=False)
    for direction in ("ingress", "egress"):
        stage.lan.copy("lap", direction)
    gatehouse, lantern = (
        stage.lan.host(name, address, vlan=LIGHT, heard=False)
        for name, address in (("gatehouse", "10.77.0.10/16"), ("lantern", "10.77.0.21/16"))
    )
    till, printer = (
        stage.lan.host(name, address, vlan=HOUSE, heard=False)
        for name, address in (("till", "192.168.20.10/24"), ("printer", "192.168.20.11/24"))
    )
    stage.begin()
    stage.say("lap", "is plugged into a trunk port", "trunk")
    stage.desk(gatehouse, (1,), "gatehouse desk", resting=(1,))
    for box, other in ((lantern, gatehouse), (till, printer)):
        assert other.address
        box.start("arping", "-q", "-c", "6", "-W", "3", "-i", "eth0", other.address.split("/")[0], hidden=False)
    stage.at(20)


@scenario("a cable joins two VLANs, each with a box that asks who listens", settings={**SHORT, "queriers_overlap_s": 10.0},
          switch=OpenSwitch)
def vlans_joined(stage: Stage) -> None:
    stage.lan.host("lap", "10.77.0.99/16", vlan=LIGHT)
    core, gatehouse, lantern, pond = (
        stage.lan.host(name, address, vlan=LIGHT) for name, address in
        (("core", "10.77.0.1/16"), ("gatehouse", "10.77.0.10/16"), ("lantern", "10.77.0.21/16"), ("pond", "10.77.0.22/16"))
    )
    # A mirror of the light's VLAN: what comes from the house enters it by the cable.
    router = stage.lan.host("router", "192.168.20.1/24", vlan=HOUSE, heard=False)
    stage.begin()
    stage.talk(lantern, gatehouse, pond, lantern)
    stage.desk(gatehouse, (1,), "gatehouse desk", resting=(1,))
    over = threading.Event()

    def ask() -> None:
        """Neither minds the other: a switch may take part in no election but its own VLAN's."""
        while not over.wait(3):
            igmp.ask_once(core, "10.77.0.1")
            igmp.ask_once(router, "192.168.20.1")

    asking = threading.Thread(target=ask, daemon=True)
    asking.start()
    stage.at(7)
    stage.lan.patch("joint", vlans=(LIGHT, HOUSE))
    stage.lan.copy("joint1")
    stage.say("kiosk", "a cable joins the house's VLAN to the light's", "cable")
    stage.at(36)
    over.set()
    asking.join()
