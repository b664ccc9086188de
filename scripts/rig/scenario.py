"""What a scenario is, the list of all, and the stage that one plays on."""

from __future__ import annotations

import socket
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from types import MappingProxyType

from rig import igmp
from rig.artnet import ArtnetDesk, ArtnetNode, Poller
from rig.lan import Host, Lan
from rig.light import Desk, Nodes
from rig.namespaces import inside
from rig.recorder import Recorder
from rig.shelter import RUN
from rig.stretch import Stretch
from rig.switches import Bridge, OpenSwitch
from rig.truth import Truth
from rig.watching import Watch, Wish

ALWAYS = {"ip": "iproute2", "tc": "iproute2", "unshare": "util-linux", "arping": "arping"}
"""Programs that every scenario uses, and their Debian packages."""


@dataclass(frozen=True, slots=True)
class Scenario:
    """One story. ``settings``: standard timers of netwatch, shortened as the lab's own are."""

    name: str
    story: str
    play: Callable[[Stage], None]
    settings: Mapping[str, float] = field(default_factory=dict)
    needs: Mapping[str, str] = field(default_factory=dict)
    """Program to Debian package."""
    switch: type[Bridge | OpenSwitch] = Bridge
    slow: bool = False
    """Takes more than a minute: not part of the tests."""
    stretch: Stretch | None = None
    """A part of what is recorded is told again and again."""
    laptop: bool = False
    """It is about the laptop itself: ``netwatch watch --keep`` records, so that what the laptop says stands in the capture."""


Play = Callable[["Stage"], None]
SCENARIOS: dict[str, Scenario] = {}


def scenario(story: str, *, needs: Iterable[str] = (), slow: bool = False,
             settings: Mapping[str, float] = MappingProxyType({}),
             switch: type[Bridge | OpenSwitch] = Bridge, stretch: Stretch | None = None,
             laptop: bool = False) -> Callable[[Play], Play]:
    """Enter a function into the list under its own name."""

    def enter(play: Play) -> Play:
        name = play.__name__
        packages = {each: PACKAGES[each] for each in needs} | dict(switch.needs)
        SCENARIOS[name] = Scenario(name, story, play, settings, packages, switch, slow, stretch, laptop)
        return play

    return enter


PACKAGES = {"dnsmasq": "dnsmasq-base", "udhcpc": "udhcpc", "dhclient": "isc-dhcp-client", "dhcpcd": "dhcpcd-base",
            "avahi-autoipd": "avahi-autoipd", "nft": "nftables"}


class Stage:
    """One run of a scenario: hosts, switch, captures and the log of what really happened."""

    def __init__(self, scenario: Scenario, folder: Path | None, wish: Wish | None = None) -> None:
        """``folder`` = where to record; ``wish`` = there netwatch listens instead, and joins for the laptop."""
        self.truth = Truth(scenario.name)
        self.lan = Lan(scenario.switch())
        self.nodes = Nodes(self.truth)
        self._folder = folder
        self._wish = wish
        self._recorders: list[Recorder | Watch] = []
        self._name, self._laptop = scenario.name, scenario.laptop
        self._boxes: list[Desk | ArtnetDesk | ArtnetNode | Poller] = []
        self.mon = self.lan.mirror()

    # ---- the clock of the story ----

    def begin(self, *, speed: int | None = None, link: bool = False) -> None:
        """The captures run from here on; a laptop ``lap`` must be plugged in.

        ``speed`` = its link in bit/s, ``link`` = whether it has one is noted; where the story is about that.
        """
        for host, port, about in (("mon", "mirror", {}), ("lap", "ordinary", {"speed": speed, "link": link})):
            files = f"{self._folder}/{self._name}.{port}"
            if self._folder and self._wish:
                self._recorders.append(Watch(host, files, f"{files}.kept.pcapng", self._wish))
            elif self._folder and self._laptop:
                self._recorders.append(Watch(host, str(RUN / host), f"{files}.pcapng"))
            elif self._folder:
                self._recorders.append(Recorder(host, self._folder / f"{self._name}.{port}.pcapng", **about))  # type: ignore[arg-type]
        for recorder in self._recorders:
            recorder.wait()
        self.truth.begin()
        self.truth.say("capture", "begins", "begins")

    def at(self, seconds: float) -> None:
        """Wait until so many seconds after the captures began."""
        time.sleep(max(0.0, self.truth.t0 + seconds - time.time()))

    def say(self, actor: str, what: str, cause: str | None = None) -> None:
        """Note what happens now."""
        self.truth.say(actor, what, cause)

    def close(self) -> None:
        """End captures politely, write the truth."""
        self.truth.ended = time.time()
        for recorder in self._recorders:
            recorder.stop()
        for box in self._boxes:
            box.kill()
        self.nodes.stop()
        self.truth.hosts = {host.name: {"mac": host.mac, "ip": host.address} for host in self.lan.hosts.values()}
        if self._folder:
            self.truth.write(self._folder / f"{self._name}.truth.json")

    # ---- what scenarios are made of ----

    def host(self, name: str, address: str | None = None, mac: str | None = None) -> Host:
        """A box, plugged in now."""
        return self.lan.host(name, address, mac)

    def hosts(self, **addresses: str) -> list[Host]:
        """Several boxes with fixed addresses."""
        return [self.host(name, address) for name, address in addresses.items()]

    def laptop(self) -> Host:
        """The laptop on an ordinary port."""
        return self.host("lap", "10.77.0.99/16")

    def desk(self, host: Host, universes: Iterable[int], name: str | None = None, *, cause: str | None = None,
             **how: object) -> Desk:
        """An E1.31 controller that sends from now on."""
        universes = list(universes)
        made = Desk(host, name or host.name, universes, **how)  # type: ignore[arg-type]
        self._boxes.append(made)
        details = ", ".join(f"{key} {value}" for key, value in how.items() if not callable(value))
        self.say(host.name, f"sends universes {universes}" + (f" ({details})" if details else ""), cause)
        return made

    def artnet(self, host: Host, universes: Iterable[int], *, cause: str | None = None, **how: object) -> ArtnetDesk:
        """An Art-Net controller that sends from now on."""
        universes = list(universes)
        made = ArtnetDesk(host, universes, **how)  # type: ignore[arg-type]
        self._boxes.append(made)
        self.say(host.name, f"sends {len(universes)} Art-Net universes {how or 'by broadcast'}", cause)
        return made

    def node(self, host: Host, outputs: Iterable[int], **how: object) -> ArtnetNode:
        """An Art-Net node that answers polls from now on."""
        outputs = list(outputs)
        made = ArtnetNode(host, outputs, **how)  # type: ignore[arg-type]
        self._boxes.append(made)
        self.say(host.name, f"an Art-Net node that puts out {outputs}")
        return made

    def poller(self, host: Host, **how: object) -> Poller:
        """An Art-Net controller that asks for nodes from now on."""
        made = Poller(host, **how)  # type: ignore[arg-type]
        self._boxes.append(made)
        self.say(host.name, "asks for Art-Net nodes")
        return made

    def talk(self, *hosts: Host) -> None:
        """Each of the boxes asks the next for its web page, in vain: ARP and TCP (RFC 9293 3.10.7.1), both by unicast."""
        for one, other in pairwise(hosts):
            with inside(one.name), socket.socket(socket.AF_INET, socket.SOCK_STREAM) as asked:
                asked.settimeout(0.5)
                asked.connect_ex(((other.address or "").split("/")[0], 80))

    def join(self, host: Host, *universes: int) -> None:
        """A box asks for universes."""
        self.nodes.join(host, *universes, asks=not (self._wish and host.name == "lap"))

    def querier(self, host: Host, *, every: float, version: int = 2) -> None:
        """A box asks who listens from now on."""
        igmp.start_querier(host, every=every, version=version)
        self.say(host.name, f"an IGMP querier (version {version}, every {every:g} s) is switched on")

    def prime(self, membership: float) -> None:
        """Make the switch prune although no querier stays: one query, which it believes in for ten minutes."""
        self.lan.set(mcast_querier_interval=60_000, mcast_query_response_interval=100, mcast_last_member_interval=50,
                     mcast_membership_interval=int(membership * 100))
        primer = self.host("primer")
        time.sleep(0.3)
        igmp.ask_once(primer, "10.77.0.250")
        time.sleep(1.2)
        self.lan.unplug("primer")
