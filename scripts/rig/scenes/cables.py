"""Cables: bad ones, slow ones, loose ones, and a switch that waits before it lets anybody speak."""

from __future__ import annotations

from rig import dhcp, noise
from rig.lan import Cable
from rig.scenario import Stage, scenario
from rig.scenes.light import SHORT


def rig(stage: Stage, *universes: int) -> Cable:
    """A gatehouse desk at 40 Hz behind a cable that can be made worse, a boathouse desk on a good one; the captures run."""
    lap = stage.laptop()
    stage.lan.set(mcast_membership_interval=1200, mcast_querier_interval=1200, mcast_query_response_interval=100)
    core, boathouse, lantern = stage.hosts(core="10.77.0.1/16", boathouse="10.77.0.11/16", lantern="10.77.0.21/16")
    gatehouse, cable = stage.lan.host_by_cable("gatehouse", "10.77.0.10/16")
    stage.begin()
    stage.querier(core, every=4)
    stage.talk(lantern, gatehouse, boathouse, lantern)
    stage.at(1)
    stage.join(lap, *universes)
    stage.join(lantern, *universes)
    stage.desk(gatehouse, (1,), "gatehouse desk", hz=40)
    stage.desk(boathouse, (2,), "boathouse desk", hz=40)
    stage.at(5)
    return cable


@scenario("on one desk's cable every thirtieth packet is overtaken by others", settings=SHORT)
def reordered(stage: Stage) -> None:
    rig(stage, 1, 2).make(reorder=3)
    stage.say("gatehouse", "3 % of the frames on its cable are overtaken from now on", "bad-cable")
    stage.at(31)


@scenario("one desk's packets arrive up to 90 ms late, now more, now less; another desk's do not", settings=SHORT)
def jittery(stage: Stage) -> None:
    rig(stage, 1, 2).make(delay=5, jitter=90)
    stage.say("gatehouse", "its cable delays frames by 5 to 95 ms from now on", "bad-cable")
    stage.at(31)


@scenario("a long cable: every packet comes 20 ms late, evenly", settings=SHORT)
def delayed(stage: Stage) -> None:
    rig(stage, 1, 2).make(delay=20)
    stage.say("gatehouse", "its cable delays every frame by 20 ms from now on")
    stage.at(31)


@scenario("the laptop's link runs at 10 Mbit/s, and a camera's pictures fill it", settings=SHORT)
def slow_link(stage: Stage) -> None:
    lap = stage.laptop()
    stage.lan.slow("lap", 10_000)
    gatehouse, kiosk = stage.hosts(gatehouse="10.77.0.10/16", kiosk="10.77.0.30/16")
    lantern = stage.host("lantern", "10.77.0.21/16")
    stage.begin(speed=10_000_000)
    stage.talk(lantern, gatehouse, kiosk, lantern)
    stage.desk(gatehouse, (1, 2), "gatehouse desk", hz=40)
    stage.join(lap, 1, 2)
    stage.at(4)
    camera = noise.camera(kiosk, 10.5)
    stage.say("kiosk", "a camera sends 10.5 Mbit/s to everybody", "camera")
    stage.at(24)
    camera.stop()


@scenario("a node's plug is loose: three times it loses its link and is back after a second", needs=("dnsmasq", "dhcpcd"),
          settings=SHORT)
def loose_plug(stage: Stage) -> None:
    stage.laptop()
    rack, gatehouse = stage.hosts(rack="10.77.0.2/16", gatehouse="10.77.0.10/16")
    lantern = stage.host("lantern")
    stage.begin()
    dhcp.serve(rack, "10.77.100.10", "10.77.100.99")
    stage.desk(gatehouse, (1,), "gatehouse desk", resting=(1,))
    stage.at(1)
    dhcp.dhcpcd(lantern)
    for turn, second in enumerate((8, 14, 20)):
        stage.at(second)
        stage.lan.pull("lantern")
        stage.say("lantern", "loses its link", "loose" if turn == 2 else None)
        stage.at(second + 1)
        stage.lan.put_back("lantern")
    stage.at(32)


@scenario("a switch with spanning tree: the laptop's port passes nothing for 2 x 15 s after it was plugged in", settings=SHORT)
def spanning_tree(stage: Stage) -> None:
    lap = stage.laptop()
    gatehouse, lantern, pond = stage.hosts(gatehouse="10.77.0.10/16", lantern="10.77.0.21/16", pond="10.77.0.22/16")
    stage.begin(link=True)
    stage.talk(lantern, gatehouse, pond, lantern)
    stage.desk(gatehouse, (1,), "gatehouse desk")
    stage.at(1)
    stage.lan.pull("lap")
    # Ports that forward already go on.
    stage.lan.set(stp_state=1, forward_delay=1500)
    stage.join(lantern, 1)
    stage.at(3)
    stage.lan.put_back("lap")
    stage.say("lap", "is plugged in; its port listens and learns first", "plugged")
    stage.join(lap, 1)
    stage.at(44)
