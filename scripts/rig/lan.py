"""Hosts and the cables between them and the switch: a mirror port, a laptop on an ordinary port, cables that are bad."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from rig import namespaces
from rig.namespaces import run
from rig.shelter import RUN
from rig.switches import SWITCH, Bridge, Switch

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


class Cable:
    """A cable between a box and the switch that can be made worse."""

    def __init__(self, namespace: str) -> None:
        command = ["ip", "netns", "exec", namespace, sys.executable, "-I", script("cable.py"), "w0", "w1"]
        self._program = subprocess.Popen(command, stdin=subprocess.PIPE, text=True)

    def make(self, **manner: float) -> None:
        """From now on: ``delay`` and ``jitter`` in ms, ``reorder`` in per cent, ``rate`` in kbit/s; none = a good cable again."""
        assert self._program.stdin
        print(*(word for pair in manner.items() for word in pair), file=self._program.stdin, flush=True)


class Lan:
    """One switch, and what is plugged in."""

    def __init__(self, switch: Switch) -> None:
        self.hosts: dict[str, Host] = {}
        self.switch = switch
        self._made = 0
        self._mirror: str | None = None

    def set(self, **bridge: int) -> None:
        """Settings of the bridge; times in hundredths of a second."""
        assert isinstance(self.switch, Bridge)
        self.switch.set(**bridge)

    def host(self, name: str, address: str | None = None, mac: str | None = None, *, vlan: int | None = None,
             trunk: Iterable[int] = (), heard: bool = True) -> Host:
        """Make a box and plug it in; ``heard`` = the mirror port copies what it sends."""
        host = self._box(name, self.port(name), address, mac)
        self.switch.plug(self.port(name), vlan, trunk)
        if self._mirror and heard:
            self.copy(name)
        return host

    def host_by_cable(self, name: str, address: str) -> tuple[Host, Cable]:
        """A box with a cable that can be made worse between it and the switch."""
        middle = f"c_{name}"
        namespaces.make(middle)
        host = self._box(name, "w0", address, None, middle)
        run("ip", "-n", SWITCH, "link", "add", self.port(name), "type", "veth", "peer", "name", "w1", "netns", middle)
        for end in ("w0", "w1"):
            run("ip", "-n", middle, "link", "set", end, "up")
        self.switch.plug(self.port(name))
        if self._mirror:
            self.copy(name)
        return host, Cable(middle)

    def _box(self, name: str, far: str, address: str | None, mac: str | None, middle: str = SWITCH) -> Host:
        """A namespace with an ``eth0``, and the cable's ``far`` end in another."""
        self._made += 1
        mac = mac or f"02:77:00:00:00:{self._made:02x}"
        namespaces.make(name)
        run("ip", "-n", middle, "link", "add", far, "type", "veth", "peer", "name", "eth0", "address", mac, "netns", name)
        namespaces.whole_checksums(name)
        host = self.hosts[name] = Host(name, mac)
        if address:
            host.address_add(address)
        host.link("up")
        return host

    def second_card(self, name: str, address: str, vlan: int | None = None) -> None:
        """A box's ``eth1``, plugged into the same switch."""
        port = f"{self.port(name)}_1"
        run("ip", "-n", SWITCH, "link", "add", port, "type", "veth", "peer", "name", "eth1", "netns", name)
        namespaces.whole_checksums(name, "eth1")
        run("ip", "-n", name, "address", "add", address, "broadcast", "+", "dev", "eth1")
        run("ip", "-n", name, "link", "set", "eth1", "up")
        self.switch.plug(port, vlan)

    def mirror(self, name: str = "mon") -> Host:
        """A host that gets a copy of every frame which enters any port. Make it before the boxes to be heard."""
        host = self._box(name, self.port(name), None, None)
        # No port of the switch, else every flooded frame comes twice.
        run("ip", "-n", SWITCH, "link", "set", self.port(name), "up")
        self._mirror = self.port(name)
        return host

    def copy(self, name: str, direction: str = "ingress") -> None:
        """The mirror port hears what enters (``ingress``) or leaves (``egress``) the port of a host or cable."""
        assert self._mirror
        port = self.port(name)
        if "clsact" not in run("tc", "-n", SWITCH, "qdisc", "show", "dev", port):
            run("tc", "-n", SWITCH, "qdisc", "add", "dev", port, "clsact")
        everything = ("u32", "match", "u32", "0", "0")
        run("tc", "-n", SWITCH, "filter", "add", "dev", port, direction, "protocol", "all", *everything,
            "action", "mirred", "egress", "mirror", "dev", self._mirror)

    def unplug(self, name: str) -> None:
        """The box and its cable are gone."""
        run("ip", "netns", "delete", name)
        self.hosts.pop(name)

    def pull(self, name: str) -> None:
        """The cable comes out of the switch: the box has no link."""
        run("ip", "-n", SWITCH, "link", "set", self.port(name), "down")

    def put_back(self, name: str) -> None:
        """The cable is back in the switch."""
        run("ip", "-n", SWITCH, "link", "set", self.port(name), "up")

    def slow(self, name: str, kbit: int) -> None:
        """What leaves the switch by this port leaves at so many kbit/s; what does not fit into 32 KiB is thrown away."""
        run("tc", "-n", SWITCH, "qdisc", "add", "dev", self.port(name), "root", "tbf", "rate", f"{kbit}kbit",
            "burst", "16kb", "limit", "32kb")

    def patch(self, name: str, *, vlans: tuple[int | None, int | None] = (None, None), kbit: int | None = None) -> None:
        """A cable with both ends in the switch; ``kbit``: it carries no more, so that a loop stays small."""
        ends = f"{name}1", f"{name}2"
        run("ip", "-n", SWITCH, "link", "add", self.port(ends[0]), "type", "veth", "peer", "name", self.port(ends[1]))
        for end, vlan in zip(ends, vlans, strict=True):
            if kbit:
                self.slow(end, kbit)
            self.switch.plug(self.port(end), vlan)

    @staticmethod
    def port(name: str) -> str:
        """The switch port that a host or a cable is plugged into."""
        return f"p_{name}"[:15]


def script(name: str) -> str:
    """A helper script beside this file."""
    return str(Path(__file__).parent / name)
