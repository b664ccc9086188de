"""Addresses that boxes give themselves, and addresses used twice."""

from __future__ import annotations

from ipaddress import IPv4Address

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


@scenario("a box is set by hand to the network's broadcast address", needs=("dnsmasq", "udhcpc"))
def broadcast_address(stage: Stage) -> None:
    _a_box_at(stage, "10.77.255.255/8", "255.255.0.0", 16, "odd")


@scenario("a wide network, in which an address may end in .255", needs=("dnsmasq", "udhcpc"))
def wide_network(stage: Stage) -> None:
    _a_box_at(stage, "10.77.0.255/8", "255.0.0.0", 8, None)


def _a_box_at(stage: Stage, address: str, mask: str, prefix: int, cause: str | None) -> None:
    """The DHCP server tells the network's mask, and the laptop knows its own."""
    stage.host("lap", f"10.77.0.99/{prefix}")
    rack, gatehouse = stage.hosts(rack=f"10.77.0.2/{prefix}", gatehouse=f"10.77.0.10/{prefix}")
    nodes = [stage.host(name) for name in ("lantern", "pond", "orchard")]
    stage.begin()
    dhcp.serve(rack, "10.77.100.10", "10.77.100.99", mask=mask)
    stage.at(1)
    for node in nodes:
        dhcp.udhcpc(node)
    stage.desk(gatehouse, (1,), "gatehouse desk", resting=(1,))
    stage.at(6)
    odd = stage.host("kiosk", address)
    stage.say("kiosk", f"is switched on, set by hand to {address}", cause)
    odd.announce()
    _asks(odd, "10.77.0.10", 5)
    stage.at(22)


@scenario("a box has by hand an address of those that the DHCP server gives away; leases of 2 minutes", slow=True,
          needs=("dnsmasq", "udhcpc"), settings={"fixed_wait_s": 120.0})
def fixed_in_pool(stage: Stage) -> None:
    """The setting stands for the lease, which an ordinary port does not see."""
    stage.laptop()
    rack, gatehouse = stage.hosts(rack="10.77.0.2/16", gatehouse="10.77.0.10/16")
    # The server chooses by MAC: these are given addresses that lie apart.
    nodes = [stage.host(name, mac=f"02:77:00:00:01:{8 * turn:02x}") for turn, name in enumerate(("lantern", "pond", "orchard"))]
    stage.begin()
    dhcp.serve(rack, "10.77.100.10", "10.77.100.99")
    for second, node in enumerate(nodes, 1):
        stage.at(second)
        dhcp.udhcpc(node)
    gatehouse.announce()
    stage.at(8)
    kiosk = stage.host("kiosk", _between(nodes))
    stage.say("kiosk", "is switched on, set by hand to an address between those that were given", "fixed")
    kiosk.announce()
    _asks(kiosk, "10.77.0.10", 45)
    stage.at(145)


def _between(hosts: list[Host]) -> str:
    """A free address between the lowest and the highest that these boxes have."""
    given = sorted(int(IPv4Address(host.do("hostname", "-I").split()[0])) for host in hosts)
    return f"{next(IPv4Address(each) for each in range(given[0] + 1, given[-1]) if each not in given)}/16"
