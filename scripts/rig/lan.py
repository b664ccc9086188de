"""Hosts and the switch between them: a snooping Linux bridge, a mirror port, a laptop on an ordinary port."""

from __future__ import annotations

import subprocess
from dataclasses import dataclass
from pathlib import Path

from rig import namespaces
from rig.namespaces import run
from rig.shelter import RUN

SWITCH = "sw"
PRIVATE = 'mount -t tmpfs tmpfs /run; hostname "$0"; exec "$@"'
"""Programs share neither /run nor the machine's name with those of other hosts."""


@dataclass(slots=True)
class Host:
    """One box: a namespace with an ``eth0`` that is plugged into the switch."""

    name: str
    mac: str
    address: str | None = None
    """With prefix, as 10.77.0.10/16; None = it has none yet."""

    def address_add(self, address: str) -> None:
        """One more fixed address."""
        run("ip", "-n", self.name, "address", "add", address, "broadcast", "+", "dev", "eth0")
        self.address = self.address or address

    def start(self, *words: str, hidden: bool = True) -> subprocess.Popen[bytes]:
        """A program on this host; ``hidden``: with a /run and a host name of its own."""
        command = ["ip", "netns", "exec", self.name]
        command += ["unshare", "--mount", "--uts", "sh", "-c", PRIVATE, self.name] if hidden else []
        log = (RUN / f"{self.name}.log").open("ab")
        return subprocess.Popen([*command, *words], stdin=subprocess.DEVNULL, stdout=log, stderr=log)

    def do(self, *words: str, check: bool = True) -> str:
        """A program on this host, to its end; its output."""
        return run("ip", "netns", "exec", self.name, *words, check=check)

    def link(self, state: str) -> None:
        """'up' or 'down', as when a box is switched on or off."""
        run("ip", "-n", self.name, "link", "set", "eth0", state)
        if state == "up":
            self.routes()

    def routes(self) -> None:
        """Multicast and broadcast leave by eth0 although there is no default route."""
        for target in ("224.0.0.0/4", "255.255.255.255/32"):
            run("ip", "-n", self.name, "route", "replace", target, "dev", "eth0")

    def announce(self) -> None:
        """Two gratuitous ARP requests, as boxes send when they come up (RFC 5227 2.3)."""
        if self.address:
            self.start("arping", "-q", "-c", "2", "-i", "eth0", "-U", self.address.split("/")[0], hidden=False)


class Lan:
    """One switch, and what is plugged in."""

    def __init__(self, **bridge: int) -> None:
        self.hosts: dict[str, Host] = {}
        self._made = 0
        namespaces.make(SWITCH)
        run("ip", "-n", SWITCH, "link", "add", "br0", "address", "02:77:00:00:00:fe", "type", "bridge")
        self.set(mcast_snooping=1, forward_delay=0, **bridge)
        run("ip", "-n", SWITCH, "link", "set", "br0", "up")
        self._mirror: str | None = None

    def set(self, **bridge: int) -> None:
        """Settings of the switch; times in hundredths of a second."""
        for name, value in bridge.items():
            run("ip", "-n", SWITCH, "link", "set", "br0", "type", "bridge", name, str(value))

    def host(self, name: str, address: str | None = None, mac: str | None = None) -> Host:
        """Make a box and plug it in."""
        self._made += 1
        mac = mac or f"02:77:00:00:00:{self._made:02x}"
        namespaces.make(name)
        port = self.port(name)
        run("ip", "-n", SWITCH, "link", "add", port, "type", "veth", "peer", "name", "eth0", "address", mac, "netns", name)
        namespaces.whole_checksums(name)
        host = self.hosts[name] = Host(name, mac)
        if address:
            host.address_add(address)
        run("ip", "-n", SWITCH, "link", "set", port, "master", "br0", "up")
        host.link("up")
        if self._mirror:
            self._copy(port)
        return host

    def mirror(self, name: str = "mon") -> Host:
        """A host that gets a copy of every frame which enters any port. Make it before the boxes to be heard."""
        host = self.host(name)
        # Out of the bridge, else every flooded frame comes twice.
        run("ip", "-n", SWITCH, "link", "set", self.port(name), "nomaster")
        self._mirror = self.port(name)
        for other in self.hosts.values():
            if other is not host:
                self._copy(self.port(other.name))
        return host

    def unplug(self, name: str) -> None:
        """The box and its cable are gone."""
        run("ip", "netns", "delete", name)
        self.hosts.pop(name)

    @staticmethod
    def port(name: str) -> str:
        """The switch port that a host is plugged into."""
        return f"p_{name}"[:15]

    def _copy(self, port: str) -> None:
        assert self._mirror
        run("tc", "-n", SWITCH, "qdisc", "add", "dev", port, "clsact")
        everything = ("u32", "match", "u32", "0", "0")
        run("tc", "-n", SWITCH, "filter", "add", "dev", port, "ingress", "protocol", "all", *everything,
            "action", "mirred", "egress", "mirror", "dev", self._mirror)


def script(name: str) -> str:
    """A helper script beside this file."""
    return str(Path(__file__).parent / name)
