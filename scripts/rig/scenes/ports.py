"""Boxes that share a port of the switch, and boxes that hear no queries."""

from __future__ import annotations

from rig import faults, namespaces
from rig.corner import corner
from rig.lan import Host
from rig.scenario import Stage, scenario
from rig.scenes.light import SHORT


def _behind_one_port(stage: Stage, *, fast_leave: bool) -> Host:
    """The laptop and the lantern's node share a port of the switch, which asks every 5 s itself; both want universe 1."""
    lap = stage.laptop()
    stage.lan.set(mcast_membership_interval=1500, mcast_query_interval=500, mcast_startup_query_interval=500,
                  mcast_query_response_interval=100, mcast_last_member_interval=50)
    gatehouse, lantern, pond = stage.hosts(gatehouse="10.77.0.10/16", lantern="10.77.0.21/16", pond="10.77.0.22/16")
    corner(stage.lan, "corner", lap, lantern, fast_leave=fast_leave)
    stage.begin()
    stage.lan.set(mcast_querier=1)
    stage.talk(lantern, gatehouse, pond, lantern)
    stage.desk(gatehouse, (1,), "gatehouse desk")
    stage.at(1)
    stage.join(lap, 1)
    stage.join(pond, 1)
    return lantern


LEAVES = {**SHORT, "membership_s": 15.0, "querier_gone_s": 15.0}


@scenario("a node leaves, and the switch cuts off the laptop behind the same port at once", settings=LEAVES)
def fast_leave(stage: Stage) -> None:
    _leave(stage, _behind_one_port(stage, fast_leave=True), "cut")


@scenario("a node leaves, the switch asks first, the laptop behind the same port goes on", settings=LEAVES)
def leave_with_question(stage: Stage) -> None:
    _leave(stage, _behind_one_port(stage, fast_leave=False), None)


def _leave(stage: Stage, lantern: Host, cause: str | None) -> None:
    # Only the box that reported last sends a leave (RFC 2236 3), so it joins right before.
    stage.at(16.35)
    stage.join(lantern, 1)
    stage.at(16.6)
    stage.nodes.leave(lantern, 1)
    stage.say("lantern", "does not want universe 1 any more", cause)
    stage.at(30)


@scenario("a node that hears no queries: the switch forgets it", needs=("nft",), settings=SHORT)
def deaf(stage: Stage) -> None:
    lap = stage.laptop()
    stage.lan.set(mcast_membership_interval=1200, mcast_querier_interval=1200, mcast_query_response_interval=100)
    core, gatehouse, lantern, pond, orchard = stage.hosts(
        core="10.77.0.1/16", gatehouse="10.77.0.10/16", lantern="10.77.0.21/16", pond="10.77.0.22/16", orchard="10.77.0.23/16",
    )
    stage.begin()
    stage.querier(core, every=4)
    stage.talk(lantern, gatehouse, pond, lantern)
    stage.desk(gatehouse, (1, 2, 3), "gatehouse desk", resting=(2, 3))
    stage.join(lap, 1)
    stage.join(lantern, 1)
    stage.join(pond, 2)
    stage.at(3)
    faults.deafen(orchard)
    # A kernel says what it wants twice, the second time up to 10 s later: here within 1 s, as all timers are shortened.
    namespaces.sysctl("orchard", "ipv4/conf/all/igmpv2_unsolicited_report_interval", "1000")
    namespaces.sysctl("orchard", "ipv4/conf/eth0/igmpv2_unsolicited_report_interval", "1000")
    stage.join(orchard, 3)
    stage.say("orchard", "asks for universe 3, but hears no queries", "deaf")
    orchard.start("arping", "-q", "-c", "10", "-W", "3", "-i", "eth0", "10.77.0.10", hidden=False)
    stage.at(28)
