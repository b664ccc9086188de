"""One box that asks who listens takes over from another."""

from __future__ import annotations

from rig import igmp
from rig.scenario import Stage, scenario
from rig.scenes.multicast import SHORT
from rig.scenes.multicast import rig as members


@scenario("a querier with a lower address is switched on: the old one falls silent, nobody loses anything", settings=SHORT)
def querier_hand_over(stage: Stage) -> None:
    lap, gatehouse, lantern, pond = members(stage)
    old, new = stage.hosts(core="10.77.0.5/16", spare="10.77.0.1/16")
    stage.begin()
    stage.talk(lantern, gatehouse, pond, lantern)
    stage.querier(old, every=4)
    stage.at(2)
    stage.desk(gatehouse, (1, 2), "gatehouse desk", resting=(2,))
    stage.join(lap, 1, 2)
    stage.join(lantern, 1)
    stage.at(13)
    stage.querier(new, every=4)
    stage.at(36)


@scenario("the querier dies, another has been waiting and takes over in time", settings=SHORT)
def querier_stands_in(stage: Stage) -> None:
    lap, gatehouse, lantern, pond = members(stage)
    first, second = stage.hosts(core="10.77.0.1/16", spare="10.77.0.5/16")
    stage.begin()
    stage.talk(lantern, gatehouse, pond, lantern)
    stage.querier(first, every=4)
    stage.at(2)
    stage.desk(gatehouse, (1, 2), "gatehouse desk", resting=(2,))
    stage.join(lap, 1, 2)
    stage.join(lantern, 1)
    stage.at(3)
    stage.querier(second, every=4)
    stage.at(14)
    igmp.stop_querier(first)
    stage.say("core", "the querier is switched off", "querier-off")
    stage.at(40)
