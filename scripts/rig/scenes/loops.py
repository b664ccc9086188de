"""What goes round and round, and what one box sends too much of."""

from __future__ import annotations

from rig import noise
from rig.scenario import Stage, scenario
from rig.scenes.light import SHORT, rig


@scenario("a patch cable with both ends in one switch, for 4 s (it carries 1.5 Mbit/s a way, so that the capture stays small)",
          settings=SHORT)
def looped(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1)
    stage.desk(gatehouse, (1,), "gatehouse desk")
    stage.at(8)
    stage.lan.patch("loop", kbit=1500)
    for end in ("loop1", "loop2"):
        stage.lan.copy(end)
    stage.say("lantern", "plugs both ends of a cable into the switch", "loop")
    boathouse.announce()
    stage.at(12)
    for end in ("loop1", "loop2"):
        stage.lan.pull(end)
    stage.say("lantern", "pulls the cable out again")
    stage.at(26)


@scenario("one box asks for 2,500 addresses a second", settings=SHORT)
def storm(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1)
    stage.desk(gatehouse, (1,), "gatehouse desk")
    stage.at(5)
    asking = noise.asking(boathouse, 2500)
    stage.say("boathouse", "asks for one address after the other by broadcast", "storm")
    stage.at(15)
    asking.stop()
    stage.at(18)


@scenario("a mirror port that is an ordinary port as well: everything that is flooded comes twice", settings=SHORT)
def mirror_doubles(stage: Stage) -> None:
    stage.lan.switch.plug(stage.lan.port("mon"))
    stage.laptop()
    gatehouse, lantern, pond = stage.hosts(gatehouse="10.77.0.10/16", lantern="10.77.0.21/16", pond="10.77.0.22/16")
    stage.begin()
    stage.talk(lantern, gatehouse, pond, lantern)
    stage.desk(gatehouse, (1,), "gatehouse desk", hz=40)
    stage.say("mon", "hears everything twice", "twice")
    stage.at(24)
