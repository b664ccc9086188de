"""A rig with nothing wrong: a checker that reports a fault here is wrong."""

from __future__ import annotations

from collections.abc import Callable

from rig import dhcp
from rig.lan import Host
from rig.scenario import Stage, scenario


@scenario("a healthy rig: one querier, one DHCP server, a desk, three nodes; all quiet",
          needs=("dnsmasq", "udhcpc", "dhclient", "dhcpcd"))
def clean(stage: Stage) -> None:
    core, server, gatehouse = stage.hosts(core="10.77.0.1/16", server="10.77.0.2/16", gatehouse="10.77.0.10/16")
    stage.lan.set(mcast_membership_interval=1200, mcast_querier_interval=1200, mcast_query_response_interval=100)
    lap = stage.laptop()
    nodes = [stage.host(name) for name in ("lantern", "pond", "orchard")]
    stage.begin()
    stage.querier(core, every=5)
    dhcp.serve(server, "10.77.100.10", "10.77.100.99", lease="12h")
    stage.at(1)
    stage.desk(gatehouse, (1, 2, 3, 4), "gatehouse desk", resting=(3, 4))
    stage.at(2)
    clients: tuple[Callable[[Host], dhcp.Program], ...] = (dhcp.udhcpc, dhcp.dhclient, dhcp.dhcpcd)
    for node, client in zip(nodes, clients, strict=True):
        client(node)
        stage.say(node.name, "DHCP client starts")
    stage.join(lap, 1, 3)
    stage.at(8)
    for node, universe in zip(nodes, (1, 2, 4), strict=True):
        stage.join(node, universe)
    stage.at(40)
