"""Who sends light, and how it arrives."""

from __future__ import annotations

from rig import faults
from rig.lan import Host
from rig.scenario import Stage, scenario

SHORT = {"membership_s": 12.0, "querier_gone_s": 12.0, "querier_hint_s": 6.0, "response_s": 1.0}


def rig(stage: Stage, *universes: int) -> tuple[Host, Host]:
    """A gatehouse and a boathouse desk's box, a node and the laptop; a querier every 4 s; the captures run."""
    lap = stage.laptop()
    stage.lan.set(mcast_membership_interval=1200, mcast_querier_interval=1200, mcast_query_response_interval=100)
    core, gatehouse, boathouse, lantern = stage.hosts(
        core="10.77.0.1/16", gatehouse="10.77.0.10/16", boathouse="10.77.0.11/16", lantern="10.77.0.21/16",
    )
    stage.begin()
    stage.querier(core, every=4)
    stage.talk(lantern, gatehouse, boathouse, lantern)
    stage.at(1)
    stage.join(lap, *universes)
    stage.join(lantern, *universes)
    return gatehouse, boathouse


@scenario("two desks send one universe at one priority and disagree", settings=SHORT)
def fighting(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1)
    stage.desk(gatehouse, (1,), "gatehouse desk")
    stage.at(8)
    stage.desk(boathouse, (1,), "boathouse desk", base=150, cause="rival")
    stage.at(22)


@scenario("two desks share a universe, each with fixtures of its own", settings=SHORT)
def sharing(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1)
    stage.desk(gatehouse, (1,), "gatehouse desk", slots=range(24))
    stage.at(5)
    stage.desk(boathouse, (1,), "boathouse desk", base=150, slots=range(100, 124))
    stage.at(22)


@scenario("a backup desk sends along at a lower priority", settings=SHORT)
def backup_lower(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1)
    stage.desk(gatehouse, (1,), "gatehouse desk")
    stage.at(5)
    stage.desk(boathouse, (1,), "backup desk", base=150, priority=90)
    stage.at(22)


@scenario("the main desk dies, its backup at a lower priority takes over", settings=SHORT)
def backup_takes_over(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1)
    main = stage.desk(gatehouse, (1,), "gatehouse desk")
    stage.desk(boathouse, (1,), "backup desk", base=150, priority=90)
    stage.at(14)
    main.kill()
    stage.say("gatehouse", "its plug is pulled", "dead")
    stage.at(26)


@scenario("a desk's plug is pulled while another goes on", settings=SHORT)
def source_killed(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1, 2, 3)
    dying = stage.desk(gatehouse, (1, 2), "gatehouse desk")
    stage.desk(boathouse, (3,), "boathouse desk", resting=(3,))
    stage.at(14)
    dying.kill()
    stage.say("gatehouse", "its plug is pulled", "dead")
    stage.at(26)


@scenario("a desk stops and says goodbye", settings=SHORT)
def source_ended(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1, 2)
    leaving = stage.desk(gatehouse, (1,), "gatehouse desk")
    stage.desk(boathouse, (2,), "boathouse desk", resting=(2,))
    stage.at(12)
    leaving.end()
    stage.say("gatehouse", "stops, with three goodbyes for each universe", "goodbye")
    stage.at(24)


@scenario("looks that rest: every universe comes once a second", settings=SHORT)
def keep_alive(stage: Stage) -> None:
    gatehouse, _ = rig(stage, 1, 2, 3)
    stage.desk(gatehouse, (1, 2, 3), "gatehouse desk", resting=(1, 2, 3))
    stage.at(32)


@scenario("a cable loses 6 % of a desk's packets", needs=("nft",), settings=SHORT)
def loss_heavy(stage: Stage) -> None:
    _lossy(stage, 60)


@scenario("a cable loses 0.5 % of a desk's packets", needs=("nft",), settings=SHORT)
def loss_light(stage: Stage) -> None:
    _lossy(stage, 5)


def _lossy(stage: Stage, per_mille: int) -> None:
    gatehouse, boathouse = rig(stage, 1, 2)
    stage.desk(gatehouse, (1,), "gatehouse desk", hz=40)
    stage.desk(boathouse, (2,), "boathouse desk", hz=20)
    stage.at(5)
    faults.lose(gatehouse, per_mille)
    stage.say("gatehouse", f"its cable loses {per_mille / 10:g} % from now on", "bad-cable")
    stage.at(45)


@scenario("a tenth of a desk's packets come twice", needs=("nft",), settings=SHORT)
def doubled(stage: Stage) -> None:
    gatehouse, _ = rig(stage, 1)
    stage.desk(gatehouse, (1,), "gatehouse desk", hz=40)
    stage.at(5)
    faults.double(gatehouse, 100)
    stage.say("gatehouse", "a tenth of its packets leave twice", "doubled")
    stage.at(30)


@scenario("28 Art-Net universes by broadcast: 560 packets/s reach every box", settings=SHORT)
def artnet_broadcast(stage: Stage) -> None:
    gatehouse, _ = rig(stage, 1)
    stage.at(3)
    stage.artnet(gatehouse, range(28), cause="broadcast")
    stage.at(30)


@scenario("two Art-Net universes by broadcast, sACN beside them: untidy, no more", settings=SHORT)
def artnet_small(stage: Stage) -> None:
    gatehouse, boathouse = rig(stage, 1)
    stage.desk(gatehouse, (1,), "gatehouse desk", resting=(1,))
    stage.artnet(boathouse, range(2))
    stage.at(30)
