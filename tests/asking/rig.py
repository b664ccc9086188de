"""A small rig for questions: a switch between this laptop and boxes, each in a namespace of its own with its kernel's ARP."""

from __future__ import annotations

import contextlib
import json
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from netwatch.packets.batch import DIRECTION_OUT, PacketBatch
from netwatch.packets.ring import RingSource
from tests.lab import Lab, Place
from tests.stories.artnet_frames import reply
from tests.stories.boxes import Box

ROOT = Path(__file__).resolve().parents[2]
HEADS = 14 + 20 + 8
"""Ethernet, IPv4 and UDP in front of a payload."""


@dataclass
class Rig:
    """The laptop's interface is ``near``; ``folder`` is its home."""

    net: Lab
    folder: Path
    stack: contextlib.ExitStack
    switch: Place

    def plug(self, name: str, mac: str) -> None:
        """A new interface, its other end in the switch."""
        self.net.ip("link", "add", f"s-{name}", "type", "veth", "peer", "name", name, "address", mac)
        self.net.move(f"s-{name}", self.switch)
        with self.switch.inside():
            self.net.ip("link", "set", f"s-{name}", "master", "br0", "up")

    def box(self, box: Box, prefix: int, name: str) -> Place:
        """A box with its address, plugged in; its kernel answers ARP."""
        self.plug(name, box.mac)
        place = self.stack.enter_context(self.net.place(name))
        with place.inside():
            self.net.ip("address", "add", f"{box.address}/{prefix}", "broadcast", "+", "dev", name)
            self.net.ip("link", "set", name, "up")
        return place

    def dnsmasq(self, place: Place, name: str, first: str, last: str, mask: str) -> Path:
        """A DHCP server; its list of leases."""
        leases = self.folder / f"{name}.leases"
        words = [
            "dnsmasq", "--keep-in-foreground", "--conf-file=/dev/null", "--port=0", f"--interface={name}", "--bind-interfaces",
            "--no-ping", "--user=root", f"--dhcp-leasefile={leases}", f"--pid-file={self.folder / name}.pid",
            "--dhcp-authoritative", f"--dhcp-range={first},{last},{mask},1h", "--log-facility=-", "--log-dhcp",
        ]  # fmt: skip
        with place.inside():
            server = subprocess.Popen(words, stderr=subprocess.PIPE, text=True)
        self.stack.callback(server.communicate)
        self.stack.callback(server.kill)
        assert server.stderr is not None
        while "DHCP, IP range" not in server.stderr.readline():
            assert server.poll() is None
        return leases

    def node(self, place: Place, box: Box, outputs: list[int], good: int = 0) -> None:
        """Answers ArtPoll by unicast to port 6454 of who asked (Art-Net 4 p.24)."""
        with place.inside():
            made = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
            made.bind(("", 6454))
        made.settimeout(0.1)
        over = threading.Event()

        def answer() -> None:
            while not over.is_set():
                with contextlib.suppress(TimeoutError):
                    packet, (asker, _) = made.recvfrom(2048)
                    if packet[:10] == b"Art-Net\0\x00\x20":
                        made.sendto(reply(box, outputs, good=good)[HEADS:], (asker, 6454))

        thread = threading.Thread(target=answer)
        thread.start()
        self.stack.callback(made.close)
        self.stack.callback(thread.join)
        self.stack.callback(over.set)

    def ask(self, *words: str) -> subprocess.CompletedProcess[str]:
        """``netwatch ask``, here and without a terminal."""
        command = [sys.executable, "-m", "netwatch", "ask", *words]
        quiet = {"stdin": subprocess.DEVNULL, "capture_output": True, "text": True}
        return subprocess.run(command, **quiet, cwd=ROOT, timeout=90, check=False)

    def asked(self, *words: str) -> dict[str, Any]:
        """The newest question in the JSON document."""
        done = self.ask(*words, "--on", "near", "--json", "--yes")
        assert done.stdout, done.stderr
        return dict(json.loads(done.stdout)["asked"][-1])

    def later(self) -> None:
        """A minute passes: the memory of the last question is that old."""
        memory = self.folder / "state" / "netwatch" / "asked.json"
        memory.write_text(json.dumps({"at": time.time_ns() - 61 * 10**9}), encoding="utf-8")


@contextlib.contextmanager
def heard_on(name: str) -> Iterator[list[bytes]]:
    """What left this interface meanwhile."""
    ring, sent = RingSource([name]), list[bytes]()
    try:
        yield sent
        sent += [
            item.packet(row) for item in ring.items(0.3) if isinstance(item, PacketBatch) for row in range(item.rows)
            if item.direction[row] == DIRECTION_OUT
        ]  # fmt: skip
    finally:
        ring.close()
