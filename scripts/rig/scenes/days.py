"""Whole days at speed: what must stay quiet for hours, and a job that one person does alone."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from rig import dhcp
from rig.lan import Host
from rig.namespaces import run
from rig.scenario import Stage, scenario
from rig.scenes.clean import clean
from rig.scenes.light import SHORT, rig
from rig.scenes.multicast import unmanaged
from rig.stretch import Stretch

HOUR = 3600.0


@scenario("an hour of the healthy rig: a part in which all is settled, told again and again",
          needs=("dnsmasq", "udhcpc", "dhclient", "dhcpcd"), stretch=Stretch(16, 39, HOUR))
def clean_hour(stage: Stage) -> None:
    clean(stage)


@scenario("an hour on an unmanaged switch without a querier: 20 s of it told again and again", stretch=Stretch(20, 40, HOUR))
def unmanaged_hour(stage: Stage) -> None:
    """With the standards' own timers."""
    unmanaged(stage)


@scenario("a load-in at speed: boxes arrive one by one; a meal break of half an hour with all off; all on again at once",
          needs=("dnsmasq", "udhcpc", "dhclient"), settings=SHORT, stretch=Stretch(21, 31.5, HOUR / 2))
def load_in(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1, 2)
    rack = stage.host("rack", "10.77.0.2/16")
    nodes = [stage.host(name) for name in ("arch", "pond", "orchard", "bridge", "kiosk")]
    desks = {"gatehouse": gatehouse, "boathouse": boathouse}
    running = _switch_on(stage, rack, desks, nodes, first=2, each=3, rack_after=0)
    stage.at(19)
    stage.say("gatehouse", "the meal break: the desk says goodbye, all but the switch is switched off")
    for stop in running:
        stop()
    # The rack needs longer to start than the nodes: their first questions find nobody.
    _switch_on(stage, rack, desks, nodes, first=32, each=0.2, rack_after=6)
    stage.at(52)


def _switch_on(stage: Stage, rack: Host, desks: dict[str, Host], nodes: list[Host], *, first: float, each: float,
               rack_after: float) -> list[Callable[[], object]]:
    """One box after the other; what switches all of it off again."""
    stops: list[Callable[[], object]] = []

    def server() -> None:
        stops.append(partial(dhcp.stop, dhcp.serve(rack, "10.77.100.10", "10.77.100.99")))
        stage.say("rack", "is switched on: the DHCP server")

    def desk() -> None:
        made = stage.desk(desks["gatehouse"], (1, 2), "gatehouse desk", resting=(2,))
        stops.extend((made.end, stage.poller(desks["boathouse"]).kill))

    def node(turn: int, host: Host) -> None:
        host.link("up")
        answers = stage.node(host, (turn,))
        stops.extend((answers.kill, partial(dhcp.stop, (dhcp.udhcpc, dhcp.dhclient)[turn % 2](host)), partial(_off, stage, host)))
        stage.join(host, 1 + turn % 2)

    steps: list[tuple[float, Callable[[], object]]] = [(first + rack_after, server), (first + 0.5, desk)]
    steps += [(first + 1 + each * turn, partial(node, turn, host)) for turn, host in enumerate(nodes)]
    for second, step in sorted(steps, key=lambda pair: pair[0]):
        stage.at(second)
        step()
    return stops


def _off(stage: Stage, host: Host) -> None:
    stage.nodes.leave(host, note=False)
    host.link("down")
    run("ip", "-n", host.name, "address", "flush", "dev", "eth0")


@scenario("one person's job: a tablet, a box with DHCP, two nodes; the tablet sleeps, and comes back with a made-up MAC",
          needs=("dnsmasq", "udhcpc"))
def one_person(stage: Stage) -> None:
    stage.laptop()
    cabin, lantern, pond = stage.hosts(cabin="10.77.0.1/16", lantern="10.77.0.21/16", pond="10.77.0.22/16")
    tablet = stage.host("tablet", mac="00:00:5e:00:53:21")
    stage.lan.set(mcast_snooping=0)
    stage.begin()
    dhcp.serve(cabin, "10.77.100.10", "10.77.100.99")
    for universe, node in enumerate((lantern, pond), 1):
        _speaks(node, 3)
        stage.join(node, universe)
    sleep = _tablet_on(stage, tablet, 1)
    stage.at(16)
    sleep()
    stage.say("tablet", "falls asleep", "asleep")
    stage.at(38)
    run("ip", "-n", "tablet", "link", "set", "eth0", "address", "0a:77:00:00:53:99")
    stage.say("tablet", "wakes up, and has made up another MAC")
    _tablet_on(stage, tablet, 38)
    stage.at(48)


def _tablet_on(stage: Stage, tablet: Host, second: float) -> Callable[[], None]:
    """It asks for an address, speaks and sends light; what makes it sleep."""
    tablet.link("up")
    stage.at(second)
    client = dhcp.udhcpc(tablet)
    stage.at(second + 3)
    desk, speech = stage.desk(tablet, (1, 2), "tablet"), _speaks(tablet, 2)

    def sleep() -> None:
        desk.kill()
        dhcp.stop(client, speech)
        tablet.link("down")
        run("ip", "-n", tablet.name, "address", "flush", "dev", "eth0")

    return sleep


def _speaks(host: Host, every: int) -> dhcp.Program:
    """It asks by ARP for the box with DHCP now and then."""
    return host.start("arping", "-q", "-c", "99", "-W", str(every), "-i", "eth0", "10.77.0.1", hidden=False)
