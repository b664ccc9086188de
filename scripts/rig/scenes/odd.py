"""Desks, nodes and servers that are set up oddly."""

from __future__ import annotations

import threading

from sacn.sending import sender_handler

from rig import dhcp, igmp
from rig.scenario import Stage, scenario
from rig.scenes.light import SHORT, rig


@scenario("a desk's output is left on 'preview'", settings=SHORT)
def preview_only(stage: Stage) -> None:
    gatehouse, _ = rig(stage, 1)
    stage.desk(gatehouse, (1,), "gatehouse desk", preview=True, cause="preview")
    stage.at(22)


@scenario("two desks made from one disk image: one CID, two boxes", settings=SHORT)
def cid_cloned(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1, 2)
    stage.desk(gatehouse, (1,), "gatehouse desk")
    stage.at(6)
    stage.desk(boathouse, (2,), "boathouse desk", cid_of="gatehouse desk", cause="clone")
    stage.at(20)


@scenario("universe 5 is sent to the group of universe 9", settings=SHORT)
def wrong_group(stage: Stage) -> None:
    gatehouse, _ = rig(stage, 5, 9)
    stage.desk(gatehouse, (5,), "gatehouse desk", unicast="239.255.0.9", cause="wrong-group")
    stage.at(20)


@scenario("an old desk that rests at one packet every 2 s", slow=True, settings=SHORT)
def slow_desk(stage: Stage) -> None:
    sender_handler.SEND_OUT_INTERVAL = 2  # of this run's process alone
    gatehouse, _ = rig(stage, 1, 2)
    stage.desk(gatehouse, (1, 2), "gatehouse desk", resting=(1, 2), cause="slow")
    stage.at(85)


@scenario("two Art-Net controllers send one universe", settings=SHORT)
def artnet_two_controllers(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1)
    stage.artnet(gatehouse, (0,))
    stage.at(5)
    stage.artnet(boathouse, (0,), cause="second")
    stage.at(25)


@scenario("two desks of one network broadcast by different masks", settings=SHORT)
def wrong_mask(stage: Stage) -> None:
    gatehouse, _ = rig(stage, 1)
    odd = stage.host("kiosk", "10.77.0.30/8")
    stage.artnet(gatehouse, (0,), to="10.77.255.255")
    stage.at(3)
    stage.artnet(odd, (1,), to="10.255.255.255", cause="mask")
    stage.at(25)


@scenario("one of six desks is set to an address of another network", settings=SHORT)
def wrong_subnet(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, *range(1, 7))
    others = stage.hosts(pond="10.77.0.22/16", orchard="10.77.0.23/16", arch="10.77.0.24/16")
    for universe, host in enumerate((gatehouse, boathouse, *others), 1):
        stage.desk(host, (universe,), f"{host.name} desk", resting=(universe,))
    stage.at(3)
    odd = stage.host("kiosk", "192.168.1.50/24")
    odd.announce()
    stage.desk(odd, (6,), "kiosk desk", resting=(6,), cause="odd")
    stage.at(30)


@scenario("a node is moved to another address by hand", slow=True, settings=SHORT)
def address_moved(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1)
    stage.desk(gatehouse, (1,), "gatehouse desk", resting=(1,))
    boathouse.announce()
    stage.at(8)
    boathouse.do("ip", "address", "flush", "dev", "eth0")
    boathouse.address = None
    boathouse.address_add("10.77.0.41/16")
    boathouse.routes()
    boathouse.announce()
    stage.say("boathouse", "is moved from 10.77.0.11 to 10.77.0.41", "moved")
    boathouse.start("arping", "-q", "-c", "18", "-W", "5", "-i", "eth0", "10.77.0.10", hidden=False)
    stage.at(95)


@scenario("a DHCP server has nothing left: two boxes ask in vain, one with a reservation is served",
          needs=("dnsmasq", "udhcpc"))
def pool_used_up(stage: Stage) -> None:
    stage.laptop()
    rack = stage.host("rack", "10.77.0.2/16")
    nodes = [stage.host(name) for name in ("lantern", "pond", "orchard")]
    late = stage.host("arch")
    stage.begin()
    dhcp.serve(rack, "10.77.100.10", "10.77.100.10", reserved={late.mac: "10.77.100.20"})
    for second, node in enumerate(nodes, 1):
        stage.at(second)
        dhcp.udhcpc(node, pause=6)
    stage.say("orchard", "asks for an address where none is left", "used-up")
    stage.at(8)
    dhcp.udhcpc(late)
    stage.at(36)


@scenario("a DHCP server names a gateway of another network", needs=("dnsmasq", "udhcpc"))
def wrong_offer(stage: Stage) -> None:
    stage.laptop()
    rack = stage.host("rack", "10.77.0.2/16")
    nodes = [stage.host(name) for name in ("lantern", "pond")]
    stage.begin()
    dhcp.serve(rack, "10.77.100.10", "10.77.100.99", router="10.99.0.1")
    stage.at(1)
    stage.say("rack", "offers a gateway of another network", "offer")
    for node in nodes:
        dhcp.udhcpc(node)
    stage.at(15)


@scenario("a DHCP server gives away an address that a box has by hand; the client declines it", needs=("dnsmasq", "udhcpc"))
def declined(stage: Stage) -> None:
    stage.laptop()
    rack, _ = stage.hosts(rack="10.77.0.2/16", kiosk="10.77.100.10/16")
    lantern = stage.host("lantern")
    stage.begin()
    dhcp.serve(rack, "10.77.100.10", "10.77.100.10")
    stage.at(2)
    dhcp.udhcpc(lantern, checks=True, pause=5)
    stage.say("lantern", "asks for an address; the only one is in use", "in-use")
    stage.at(25)


@scenario("the DHCP server dies, leases run out one after the other", needs=("dnsmasq", "udhcpc", "dhclient"), slow=True)
def lease_runs_out(stage: Stage) -> None:
    stage.laptop()
    rack = stage.host("rack", "10.77.0.2/16")
    lantern, pond = stage.host("lantern"), stage.host("pond")
    stage.begin()
    server = dhcp.serve(rack, "10.77.100.10", "10.77.100.99")
    stage.at(1)
    dhcp.udhcpc(lantern)
    dhcp.dhclient(pond)
    stage.at(10)
    dhcp.stop(server)
    stage.say("rack", "the DHCP server dies", "server-dead")
    stage.at(150)


@scenario("two boxes ask who listens, without minding each other",
          settings={**SHORT, "queriers_overlap_s": 10.0})
def two_queriers(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1)
    stage.desk(gatehouse, (1,), "gatehouse desk")
    stage.at(5)
    stage.say("boathouse", "asks who listens too, every 3 s", "second")
    over = threading.Event()

    def ask() -> None:
        while not over.wait(3):
            igmp.ask_once(boathouse, "10.77.0.11")

    asking = threading.Thread(target=ask, daemon=True)
    asking.start()
    stage.at(35)
    over.set()
    asking.join()
