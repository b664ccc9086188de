"""Who hands out addresses."""

from __future__ import annotations

from rig import dhcp, namespaces
from rig.lan import Host
from rig.namespaces import run
from rig.scenario import Stage, scenario

CLIENTS = ("dnsmasq", "udhcpc", "dhclient", "dhcpcd")


def _boxes_arrive(stage: Stage, first: float, each: float = 2) -> None:
    """Three boxes come up and ask for addresses; two of them are switched off and on once more."""
    clients = {"lantern": dhcp.udhcpc, "pond": dhcp.dhclient, "orchard": dhcp.udhcpc}
    nodes = [(stage.host(name), client) for name, client in clients.items()]
    programs: list[dhcp.Program] = []
    for turn, (node, client) in enumerate([*nodes, *nodes[1:]]):
        stage.at(first + turn * each)
        if turn >= len(nodes):
            dhcp.stop(programs[turn - len(nodes) + 1])
            node.link("down")
            run("ip", "-n", node.name, "address", "flush", "dev", "eth0")
            node.link("up")
        programs.append(client(node))
        stage.say(node.name, f"DHCP client starts ({client.__name__})")


@scenario("two DHCP servers of one subnet with different gateways", needs=CLIENTS)
def two_dhcp_same_subnet(stage: Stage) -> None:
    stage.laptop()
    rack, rival = stage.hosts(rack="10.77.0.2/16", rival="10.77.0.3/16")
    early = stage.host("gatehouse")
    stage.begin()
    dhcp.serve(rack, "10.77.100.10", "10.77.100.99", delay=1)
    stage.at(1)
    dhcp.udhcpc(early)
    stage.at(7)
    dhcp.serve(rival, "10.77.200.10", "10.77.200.99", router="10.77.0.254", lease="12h")
    stage.say("rival", "a second DHCP server is plugged in", "rival")
    _boxes_arrive(stage, 8)
    stage.at(26)


@scenario("two DHCP servers of two subnets", needs=CLIENTS)
def two_dhcp_two_subnets(stage: Stage) -> None:
    stage.laptop()
    rack, rival = stage.hosts(rack="10.77.0.2/16", rival="192.168.77.1/24")
    early = stage.host("gatehouse")
    stage.begin()
    dhcp.serve(rack, "10.77.100.10", "10.77.100.99", delay=1)
    stage.at(1)
    dhcp.udhcpc(early)
    stage.at(7)
    dhcp.serve(rival, "192.168.77.50", "192.168.77.99", mask="255.255.255.0", router="192.168.77.1")
    stage.say("rival", "a second DHCP server is plugged in", "rival")
    _boxes_arrive(stage, 8)
    stage.at(26)


@scenario("a fail-over pair: two servers, one subnet, the same settings, each its half", needs=CLIENTS)
def failover_pair(stage: Stage) -> None:
    stage.laptop()
    one, other = stage.hosts(one="10.77.0.2/16", other="10.77.0.3/16")
    stage.begin()
    dhcp.serve(one, "10.77.100.10", "10.77.100.99", router="10.77.0.254", refuses=False)
    dhcp.serve(other, "10.77.100.110", "10.77.100.199", router="10.77.0.254", refuses=False)
    _boxes_arrive(stage, 2, each=3)
    stage.at(22)


@scenario("one DHCP server behind a relay", needs=CLIENTS)
def relay(stage: Stage) -> None:
    stage.laptop()
    core = stage.host("core", "10.77.0.1/16")
    namespaces.make("office")
    run("ip", "-n", "core", "link", "add", "up0", "type", "veth", "peer", "name", "eth0", "netns", "office")
    namespaces.whole_checksums("office")
    namespaces.whole_checksums("core", "up0")
    for name, interface, address in (("core", "up0", "10.88.0.1/24"), ("office", "eth0", "10.88.0.2/24")):
        run("ip", "-n", name, "address", "add", address, "dev", interface)
        run("ip", "-n", name, "link", "set", interface, "up")
    run("ip", "-n", "office", "route", "add", "10.77.0.0/16", "via", "10.88.0.1")
    namespaces.sysctl("core", "ipv4/ip_forward", "1")
    server = Host("office", "", "10.88.0.2/24")
    stage.begin()
    dhcp.serve(server, "10.77.100.10", "10.77.100.99", router="10.77.0.1")
    dhcp.relay(core, "10.77.0.1", "10.88.0.2")
    _boxes_arrive(stage, 2)
    stage.at(22)


@scenario("boxes ask for addresses, nobody answers", needs=("udhcpc",))
def no_dhcp(stage: Stage) -> None:
    stage.laptop()
    gatehouse = stage.host("gatehouse", "10.77.0.10/16")
    nodes = [stage.host(name) for name in ("lantern", "pond")]
    stage.begin()
    stage.desk(gatehouse, (1,), "gatehouse desk", resting=(1,))
    stage.at(2)
    for node in nodes:
        dhcp.udhcpc(node, pause=6)
    stage.say("lantern", "two boxes start to ask for an address", "asking")
    stage.at(34)


@scenario("a static rig without DHCP, of whose boxes none asks")
def static_rig(stage: Stage) -> None:
    lap = stage.laptop()
    gatehouse, lantern = stage.hosts(gatehouse="10.77.0.10/16", lantern="10.77.0.21/16")
    stage.begin()
    stage.desk(gatehouse, (1,), "gatehouse desk")
    stage.at(1)
    stage.join(lap, 1)
    stage.join(lantern, 1)
    lantern.announce()
    stage.at(25)
