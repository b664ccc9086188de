"""Addresses that boxes give themselves, and addresses used twice."""

from __future__ import annotations

from rig import dhcp
from rig.lan import Host
from rig.scenario import Stage, scenario

RIG = {"gatehouse": "10.77.0.10/16", "lantern": "10.77.0.21/16", "pond": "10.77.0.22/16", "orchard": "10.77.0.23/16",
       "boathouse": "10.77.0.24/16"}


def _asks(host: Host, whom: str, times: int, every: int = 3) -> None:
    """The box asks by ARP for another, as boxes do that talk now and then."""
    host.start("arping", "-q", "-c", str(times), "-W", str(every), "-i", "eth0", whom, hidden=False)


@scenario("one box found no DHCP server and gave itself 169.254.x.y; the others have addresses", needs=("avahi-autoipd",))
def link_local_outlier(stage: Stage) -> None:
    lap = stage.laptop()
    boxes = stage.hosts(**RIG)
    stray = stage.host("arch")
    stage.begin()
    for box in boxes:
        box.announce()
    stage.desk(boxes[0], (1,), "gatehouse desk")
    stage.join(lap, 1)
    stage.at(4)
    dhcp.link_local(stray)
    stage.say("arch", "is switched on, gives itself a link-local address", "stray")
    stage.at(35)


@scenario("a small rig that is all link-local on purpose", needs=("avahi-autoipd",))
def link_local_all(stage: Stage) -> None:
    boxes = [stage.host(name) for name in ("lap", "gatehouse", "lantern", "pond")]
    stage.begin()
    for box in boxes:
        dhcp.link_local(box)
    stage.at(12)
    stage.desk(boxes[1], (1,), "gatehouse desk")
    stage.join(boxes[0], 1)
    stage.at(40)


@scenario("a box is set by hand to an address that a node has")
def duplicate_address(stage: Stage) -> None:
    stage.laptop()
    boxes = stage.hosts(**RIG)
    stage.begin()
    boxes[1].announce()
    _asks(boxes[1], "10.77.0.10", 12)
    stage.at(8)
    intruder = stage.host("intruder", RIG["lantern"])
    stage.say("intruder", "uses 10.77.0.21 too", "intruder")
    intruder.announce()
    _asks(intruder, "10.77.0.10", 8)
    stage.at(34)


@scenario("a node is replaced by another with the same address")
def node_replaced(stage: Stage) -> None:
    stage.laptop()
    boxes = stage.hosts(**RIG)
    stage.begin()
    boxes[1].announce()
    _asks(boxes[1], "10.77.0.10", 3, every=2)
    stage.at(10)
    stage.lan.unplug("lantern")
    stage.at(14)
    spare = stage.host("spare", RIG["lantern"])
    stage.say("spare", "replaces lantern under its address")
    spare.announce()
    _asks(spare, "10.77.0.10", 5)
    stage.at(32)
