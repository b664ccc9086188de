"""A small switch without a mind between some boxes and the switch: they share one of its ports."""

from __future__ import annotations

from rig import namespaces
from rig.lan import Host, Lan
from rig.namespaces import run
from rig.switches import SWITCH


def corner(lan: Lan, name: str, *hosts: Host, fast_leave: bool) -> None:
    """Unplug these boxes from the switch, and plug them into a small one behind one port, by ``fast_leave`` cut off at once."""
    namespaces.make(name)
    port = lan.port(name)
    run("ip", "-n", name, "link", "add", "br0", "type", "bridge", "mcast_snooping", "0", "forward_delay", "0")
    run("ip", "-n", SWITCH, "link", "add", port, "type", "veth", "peer", "name", "uplink", "netns", name)
    for host in hosts:
        run("ip", "-n", SWITCH, "link", "set", lan.port(host.name), "nomaster", "netns", name)
    for interface in ("uplink", *(lan.port(host.name) for host in hosts)):
        run("ip", "-n", name, "link", "set", interface, "master", "br0", "up")
    run("ip", "-n", name, "link", "set", "br0", "up")
    lan.switch.plug(port)
    lan.copy(name)
    if fast_leave:
        run("ip", "-n", SWITCH, "link", "set", port, "type", "bridge_slave", "fastleave", "on")
