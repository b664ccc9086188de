"""Multicast that is passed on, or not any more."""

from __future__ import annotations

from rig import igmp
from rig.lan import Host
from rig.scenario import Stage, scenario

MEMBERSHIP = 12.0
"""s: the switch forgets a member so long after its last report."""
SHORT = {"membership_s": MEMBERSHIP, "querier_gone_s": 12.0, "querier_hint_s": 6.0, "response_s": 1.0}
"""Standard timers of netwatch, shortened as those of the switch are."""


def rig(stage: Stage, *, prime: bool = False, snooping: bool = True) -> tuple[Host, Host, Host, Host]:
    """Laptop, desk and two nodes on a switch that forgets members after 12 s."""
    lap = stage.laptop()
    gatehouse, lantern, pond = (
        stage.host(name, address) for name, address in
        (("gatehouse", "10.77.0.10/16"), ("lantern", "10.77.0.21/16"), ("pond", "10.77.0.22/16"))
    )
    if not snooping:
        stage.lan.set(mcast_snooping=0)
    elif prime:
        stage.prime(MEMBERSHIP)
    else:
        stage.lan.set(mcast_membership_interval=int(MEMBERSHIP * 100), mcast_querier_interval=int(MEMBERSHIP * 100),
                      mcast_query_response_interval=100)
    return lap, gatehouse, lantern, pond


@scenario("snooping without a querier: the switch forgets members and drops their universe; a querier cures it", settings=SHORT)
def dropped(stage: Stage) -> None:
    lap, gatehouse, lantern, pond = rig(stage, prime=True)
    stage.begin()
    stage.talk(lantern, gatehouse, pond, lantern)
    stage.desk(gatehouse, (1, 2), "gatehouse desk", resting=(2,))
    stage.at(3)
    stage.join(lap, 1, 2)
    stage.join(lantern, 1)
    stage.at(40)
    stage.querier(stage.host("core", "10.77.0.1/16"), every=4, version=3)
    stage.at(52)


@scenario("the same switch with a querier every 4 s: nothing is dropped", settings=SHORT)
def querier_control(stage: Stage) -> None:
    lap, gatehouse, lantern, pond = rig(stage)
    core = stage.host("core", "10.77.0.1/16")
    stage.begin()
    stage.talk(lantern, gatehouse, pond, lantern)
    stage.querier(core, every=4)
    stage.at(3)
    stage.desk(gatehouse, (1, 2), "gatehouse desk", resting=(2,))
    stage.join(lantern, 1)
    stage.join(pond, 2)
    stage.at(12)
    stage.join(lap, 1, 2)
    stage.at(45)


@scenario("an unmanaged switch, no querier: everything goes everywhere, and always did", settings=SHORT)
def unmanaged(stage: Stage) -> None:
    lap, gatehouse, lantern, _ = rig(stage, snooping=False)
    stage.begin()
    stage.desk(gatehouse, (1, 2), "gatehouse desk", resting=(2,))
    stage.at(3)
    stage.join(lantern, 1)
    stage.join(lap, 1)
    stage.at(45)


@scenario("the querier is switched off, the switch goes on forgetting: light stops later", settings=SHORT)
def querier_lost(stage: Stage) -> None:
    lap, gatehouse, lantern, pond = rig(stage)
    stage.lan.set(mcast_querier_interval=60_000)
    core = stage.host("core", "10.77.0.1/16")
    stage.begin()
    stage.talk(lantern, gatehouse, pond, lantern)
    stage.querier(core, every=4)
    stage.desk(gatehouse, (1,), "gatehouse desk")
    stage.at(3)
    stage.join(lap, 1)
    stage.join(lantern, 1)
    stage.at(14)
    igmp.stop_querier(core)
    stage.say("core", "the querier is switched off", "querier-off")
    stage.at(45)


@scenario("no querier, and a switch that sends to everybody what nobody asked for", settings=SHORT)
def flooded(stage: Stage) -> None:
    gatehouse = rig(stage)[1]
    stage.begin()
    stage.desk(gatehouse, (1, 2, 3), "gatehouse desk", resting=(2, 3), cause="flood")
    stage.at(40)


@scenario("the switch floods until a querier is switched on; the laptop asks for its universe only later", settings=SHORT)
def flood_then_join(stage: Stage) -> None:
    lap, gatehouse, lantern, pond = rig(stage)
    core = stage.host("core", "10.77.0.1/16")
    stage.begin()
    stage.talk(lantern, gatehouse, pond, lantern)
    stage.desk(gatehouse, (1, 2), "gatehouse desk", resting=(2,))
    stage.join(lantern, 1)
    stage.at(9)
    stage.querier(core, every=4)
    stage.at(20)
    stage.join(lap, 1, 2)
    stage.at(32)


@scenario("only the laptop is forgotten: nodes ask again, sources live on", settings=SHORT)
def own_membership(stage: Stage) -> None:
    lap, gatehouse, lantern, pond = rig(stage, prime=True)
    stage.begin()
    stage.talk(lantern, gatehouse, pond, lantern)
    stage.desk(gatehouse, (1,), "gatehouse desk")
    stage.at(2)
    stage.join(lap, 1)
    for second in range(3, 36, 5):
        stage.at(second)
        if second > 3:
            stage.nodes.leave(lantern, 1, note=False)
        stage.nodes.join(lantern, 1, note=False)
    stage.at(38)


@scenario("a node is switched off and on again", settings=SHORT)
def node_restarts(stage: Stage) -> None:
    lap, gatehouse, lantern, pond = rig(stage)
    core = stage.host("core", "10.77.0.1/16")
    stage.begin()
    stage.talk(lantern, gatehouse, pond, lantern)
    stage.querier(core, every=4)
    stage.at(2)
    stage.desk(gatehouse, (1, 2), "gatehouse desk")
    stage.join(lap, 1, 2)
    stage.join(lantern, 1)
    stage.join(pond, 2)
    stage.at(14)
    lantern.link("down")
    stage.nodes.leave(lantern)
    stage.at(20)
    lantern.link("up")
    lantern.announce()
    stage.join(lantern, 1)
    stage.at(32)
