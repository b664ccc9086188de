"""Light by both protocols at once."""

from __future__ import annotations

from rig.artnet import ArtnetOut
from rig.lan import Host
from rig.scenario import Stage, scenario
from rig.scenes.light import SHORT, rig

UNIVERSES = range(1, 7)


def _twice(stage: Stage, host: Host, offset: int, *, resting: range = range(0), cause: str | None = None) -> None:
    """One desk sends its looks by sACN, and by Art-Net under numbers that are ``offset`` lower."""
    out = ArtnetOut(host)
    stage.desk(host, UNIVERSES, f"{host.name} desk", resting=resting, cause=cause,
               also=lambda universe, look: out.send(universe - offset, look))


@scenario("one desk, both protocols, moving light: Art-Net under sACN's own numbers", settings=SHORT)
def protocols_beside(stage: Stage) -> None:
    gatehouse, _ = rig(stage, *UNIVERSES)
    stage.at(3)
    _twice(stage, gatehouse, 0, cause="moves")
    stage.at(20)


@scenario("one desk, both protocols, numbered as usual; a node that takes both gets the same light", settings=SHORT)
def protocols_in_step(stage: Stage) -> None:
    gatehouse, _ = rig(stage, *UNIVERSES)
    pond = stage.host("pond", "10.77.0.22/16")
    stage.node(pond, (0, 1))
    stage.join(pond, 1, 2)
    stage.poller(gatehouse)
    stage.at(3)
    _twice(stage, gatehouse, 1)
    stage.at(28)


@scenario("a node gets its universe by sACN from one desk and by Art-Net from another", settings=SHORT)
def both_to_one_node(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1)
    pond = stage.host("pond", "10.77.0.22/16")
    stage.node(pond, (0,))
    stage.join(pond, 1)
    stage.poller(boathouse)
    stage.desk(gatehouse, (1,), "gatehouse desk", base=150)
    stage.at(4)
    stage.artnet(boathouse, (0,), cause="both")
    stage.at(30)
