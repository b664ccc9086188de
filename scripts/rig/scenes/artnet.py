"""Art-Net: nodes that answer polls, numbers that do not meet, sync and sequence numbers."""

from __future__ import annotations

from rig.lan import Host
from rig.scenario import Stage, scenario
from rig.scenes.light import SHORT, rig

TO_ALL = "10.77.255.255"
"""Older nodes reply to everybody (Art-Net 4, 1.4dd), so that an ordinary port hears it."""


def _speaks(host: Host, times: int, every: int = 3) -> None:
    """The box asks by ARP now and then, whatever its programs do."""
    host.start("arping", "-q", "-c", str(times), "-W", str(every), "-i", "eth0", "10.77.0.10", hidden=False)


@scenario("Art-Net as it should be: polls answered in three ways, one controller with sync, a sender without numbers; "
          "a node is switched off", settings=SHORT)
def artnet_well(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1)
    pond, orchard, arch = stage.hosts(pond="10.77.0.22/16", orchard="10.77.0.23/16", arch="10.77.0.24/16")
    for host, outputs, how in ((pond, range(6), {}), (orchard, range(6, 8), {"to_all": TO_ALL}), (arch, (16,), {})):
        host.announce()
        stage.node(host, outputs, **how)
    stage.poller(gatehouse)
    stage.poller(boathouse)
    stage.at(2)
    stage.artnet(gatehouse, range(8), hz=10, sync=True)
    stage.artnet(boathouse, (16,), to="10.77.0.24", sequence=0)
    stage.at(16)
    orchard.link("down")
    stage.say("orchard", "is switched off")
    stage.at(32)


@scenario("three nodes listen to 1, 5 and 9, the desk sends 0, 4 and 8", settings=SHORT)
def artnet_off_by_one(stage: Stage) -> None:
    _beside(stage, (1, 5, 9), (0, 4, 8), "shifted")


@scenario("the desk sends Net 1, the nodes listen to Sub-Net 1", settings=SHORT)
def artnet_mixed_up(stage: Stage) -> None:
    _beside(stage, (0x10, 0x11, 0x12), (0x100, 0x101, 0x102), "mixed-up")


def _beside(stage: Stage, wanted: tuple[int, ...], sent: tuple[int, ...], cause: str) -> None:
    gatehouse, _ = rig(stage, 1)
    nodes = stage.hosts(pond="10.77.0.22/16", orchard="10.77.0.23/16", arch="10.77.0.24/16")
    for host, output in zip(nodes, wanted, strict=True):
        stage.node(host, (output,), to_all=TO_ALL)
    stage.poller(gatehouse)
    stage.at(2)
    stage.artnet(gatehouse, sent, hz=10, cause=cause)
    stage.at(26)


@scenario("a node's program hangs: it answers no polls any more, though its box speaks on", settings=SHORT)
def node_hangs(stage: Stage) -> None:
    gatehouse, _ = rig(stage, 1)
    pond, orchard = stage.hosts(pond="10.77.0.22/16", orchard="10.77.0.23/16")
    hangs = stage.node(pond, (0,), to_all=TO_ALL)
    stage.node(orchard, (1,))
    stage.poller(gatehouse)
    _speaks(pond, 12)
    stage.at(11)
    hangs.answers = False
    stage.say("pond", "its program hangs, it answers no polls any more", "hangs")
    stage.at(35)


@scenario("a node was moved to another address, its replies still tell the old one", settings=SHORT)
def node_tells_old_address(stage: Stage) -> None:
    gatehouse, _ = rig(stage, 1)
    pond, orchard = stage.hosts(pond="10.77.0.22/16", orchard="10.77.0.23/16")
    stage.node(orchard, (1,), to_all=TO_ALL)
    stage.poller(gatehouse)
    stage.at(5)
    stage.node(pond, (0,), address="2.11.4.9", to_all=TO_ALL)
    stage.say("pond", "tells 2.11.4.9 although it has 10.77.0.22", "old-address")
    stage.at(18)


@scenario("three nodes with the name that they came with", settings=SHORT)
def same_names(stage: Stage) -> None:
    gatehouse, _ = rig(stage, 1)
    nodes = stage.hosts(pond="10.77.0.22/16", orchard="10.77.0.23/16", arch="10.77.0.24/16")
    stage.poller(gatehouse)
    stage.at(2)
    for output, host in enumerate(nodes):
        stage.node(host, (output,), name="four port node", to_all=TO_ALL)
    stage.say("pond", "three nodes answer to one name", "names")
    stage.at(15)


@scenario("an Art-Net sender whose sequence number stands at 7", settings=SHORT)
def stuck_number(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1)
    stage.artnet(gatehouse, (0, 1), sequence=0)
    stage.at(2)
    stage.artnet(boathouse, (2, 3), sequence=7, cause="stuck")
    stage.at(26)


@scenario("two controllers send ArtSync", settings=SHORT)
def two_syncs(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1)
    stage.artnet(gatehouse, (0, 1), sync=True)
    stage.at(4)
    stage.artnet(boathouse, (4, 5), sync=True, cause="second")
    stage.at(22)


@scenario("a media server goes on sending, but its ArtSync stops", settings=SHORT)
def sync_stops(stage: Stage) -> None:
    gatehouse, _ = rig(stage, 1)
    server = stage.artnet(gatehouse, (0, 1), sync=True)
    stage.at(8)
    server.sync = False
    stage.say("gatehouse", "its ArtSync stops, its light goes on", "stops")
    stage.at(24)
