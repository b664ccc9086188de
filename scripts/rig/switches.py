"""The switch in the middle: the kernel's bridge, or Open vSwitch in user space, which knows VLANs and prunes unasked."""

from __future__ import annotations

import os
import subprocess
import time
from collections.abc import Iterable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Protocol

from rig import namespaces
from rig.namespaces import run
from rig.shelter import RUN

SWITCH = "sw"
"""The namespace that the switch and its ports are in."""
SCHEMA = Path("/usr/share/openvswitch/vswitch.ovsschema")
PATIENCE = 10.0
"""s that a program may take to start."""


class Switch(Protocol):
    """What a network needs of its switch. ``needs``: program to Debian package."""

    needs: Mapping[str, str]

    def plug(self, port: str, vlan: int | None = None, trunk: Iterable[int] = ()) -> None:
        """Take an interface of the namespace as a port, of one VLAN or with the tags of several."""


class Bridge:
    """The kernel's bridge, with IGMP snooping. As long as it believes in no querier, it floods."""

    needs: Mapping[str, str] = MappingProxyType({})

    def __init__(self) -> None:
        namespaces.make(SWITCH)
        run("ip", "-n", SWITCH, "link", "add", "br0", "address", "02:77:00:00:00:fe", "type", "bridge")
        self.set(mcast_snooping=1, forward_delay=0)
        run("ip", "-n", SWITCH, "link", "set", "br0", "up")

    def set(self, **bridge: int) -> None:
        """Settings; times in hundredths of a second."""
        for name, value in bridge.items():
            run("ip", "-n", SWITCH, "link", "set", "br0", "type", "bridge", name, str(value))

    def plug(self, port: str, vlan: int | None = None, trunk: Iterable[int] = ()) -> None:
        if vlan or trunk:
            raise ValueError("this bridge knows no VLANs: play the scenario on Open vSwitch")
        run("ip", "-n", SWITCH, "link", "set", port, "master", "br0", "up")


class OpenSwitch:
    """Open vSwitch with its user-space datapath; database, sockets and logs are the run's own."""

    needs: Mapping[str, str] = MappingProxyType({"ovs-vswitchd": "openvswitch-switch"})

    def __init__(self) -> None:
        namespaces.make(SWITCH)
        self._folder = RUN / "ovs"
        self._folder.mkdir()
        self._database = f"unix:{self._folder / 'db.sock'}"
        run("ovsdb-tool", "create", str(self._folder / "conf.db"), str(SCHEMA))
        self._start("ovsdb-server", str(self._folder / "conf.db"), f"--remote=p{self._database}")
        until = time.monotonic() + PATIENCE
        while not (self._folder / "db.sock").exists():
            if time.monotonic() > until:
                raise RuntimeError("ovsdb-server does not start")
            time.sleep(0.01)
        self._set("--no-wait", "init")
        self._start("ip", "netns", "exec", SWITCH, "ovs-vswitchd", self._database)
        self._set("add-br", "br0", "--", "set", "bridge", "br0", "datapath_type=netdev")

    def snoop(self, *, age: int, flood: bool) -> None:
        """Snoop IGMP: forget a member after ``age`` s; ``flood`` = pass on to everybody what nobody asked for."""
        self._set("set", "bridge", "br0", "mcast_snooping_enable=true", f"other_config:mcast-snooping-aging-time={age}",
                  f"other_config:mcast-snooping-disable-flood-unregistered={str(not flood).lower()}")

    def plug(self, port: str, vlan: int | None = None, trunk: Iterable[int] = ()) -> None:
        run("ip", "-n", SWITCH, "link", "set", port, "up")
        tags = [f"tag={vlan}"] if vlan else [f"trunks={','.join(map(str, trunk))}"] if trunk else []
        self._set("add-port", "br0", port, *tags)

    def _set(self, *words: str) -> None:
        run("ovs-vsctl", f"--db={self._database}", f"--timeout={PATIENCE:.0f}", *words)

    def _start(self, *words: str) -> None:
        """In the foreground, as a child: it ends with the run."""
        folder = str(self._folder)
        places = {f"OVS_{name}": folder for name in ("RUNDIR", "DBDIR", "LOGDIR", "SYSCONFDIR")}
        with (self._folder / "log").open("ab") as log:
            subprocess.Popen(words, stdin=subprocess.DEVNULL, stdout=log, stderr=log, env={**os.environ, **places})
