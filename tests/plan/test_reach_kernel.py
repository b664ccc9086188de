"""What is said of two boxes is what two real IP stacks do: Linux in two namespaces, joined by a cable, without a router."""

from __future__ import annotations

import contextlib
import socket
import struct
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from ipaddress import IPv4Interface
from itertools import count
from pathlib import Path

import pytest

from netwatch.plan.reach import NO, ONE_WAY, YES, Direction, broadcast, reach
from tests import lab
from tests.lab import Place

pytestmark = pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))

GROUP = "239.255.0.1"
PORT = 5568
CASES = [
    ("10.0.1.5/24", "10.0.1.6/24"),
    ("10.0.1.5/24", "10.0.2.5/16"),
    ("10.0.1.5/24", "10.0.2.5/24"),
    ("10.0.1.5/8", "10.0.1.6/24"),
    ("10.0.1.5/8", "10.255.255.6/16"),
    ("2.0.0.5/8", "10.0.0.5/8"),
    ("192.168.1.0/23", "192.168.0.255/23"),
    ("10.0.0.65/26", "10.0.0.126/26"),
    ("10.0.0.62/26", "10.0.0.65/26"),
    ("192.168.10.0/31", "192.168.10.1/31"),
    ("10.0.0.126/25", "10.0.0.130/24"),
    ("10.0.1.5/24", "10.0.1.255/16"),
]
TURN = count()


@dataclass
class Side:
    """One of the two boxes."""

    name: str
    place: Place | None = None

    def there(self) -> contextlib.AbstractContextManager[None]:
        return contextlib.nullcontext() if self.place is None else self.place.inside()

    def ip(self, *words: str) -> str:
        with self.there():
            return subprocess.run(["ip", *words], check=True, capture_output=True, text=True).stdout

    def become(self, one: IPv4Interface) -> None:
        """Its address; without filters by the reverse path, which are firewalls and left out of the answer."""
        with self.there():
            for scope in ("all", self.name):
                Path(f"/proc/sys/net/ipv4/conf/{scope}/rp_filter").write_text("0")
        self.ip("address", "flush", "dev", self.name)
        everybody = () if broadcast(one) is None else ("broadcast", str(broadcast(one)))
        self.ip("address", "add", str(one), *everybody, "dev", self.name)

    def socket(self) -> socket.socket:
        """Hears all kinds, and sends all kinds by this interface."""
        with self.there():
            made = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
            made.bind(("", PORT))
            index = socket.if_nametoindex(self.name)
        request = socket.inet_aton(GROUP) + struct.pack("=4si", bytes(4), index)
        made.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, request)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
        made.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, struct.pack("=4s4si", bytes(4), bytes(4), index))
        made.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_LOOP, 0)
        made.settimeout(0.01)
        return made


@pytest.fixture(scope="module")
def sides() -> Iterator[tuple[Side, Side]]:
    with lab.lab() as net:
        net.pair("near", "far")
        with net.place("far") as place:
            near, far = Side("near"), Side("far", place)
            far.ip("link", "set", "far", "up")
            yield near, far


def arrives(here: Side, out: socket.socket, into: socket.socket, to: object) -> bool:
    """Does a datagram come through? One by multicast behind it ends the waiting, as soon as ARP has settled."""
    asked, end = (f"{word} {next(TURN)}".encode() for word in ("asked", "end"))
    try:
        out.sendto(asked, (str(to), PORT))
    except OSError:
        return False
    heard: set[bytes] = set()
    for _ in range(500):
        settled = "INCOMPLETE" not in here.ip("neighbour")
        out.sendto(end, (GROUP, PORT))
        with contextlib.suppress(TimeoutError):
            while True:
                heard.add(into.recv(99))
        if end in heard and settled:
            return asked in heard
    raise AssertionError("nothing settled")


def agrees(found: Direction, here: Side, out: socket.socket, into: socket.socket, own: IPv4Interface, to: IPv4Interface) -> None:
    """One direction in all three manners."""
    assert arrives(here, out, into, GROUP) == (found.multicast.state == YES)
    everybody = broadcast(own)
    assert (everybody is not None and arrives(here, out, into, everybody)) == (found.broadcast.state != NO)
    assert arrives(here, out, into, to.ip) == (found.unicast.state in (YES, ONE_WAY))


@pytest.mark.parametrize(("a", "b"), CASES)
def test_what_is_said_is_what_kernels_do(sides: tuple[Side, Side], a: str, b: str) -> None:
    near, far = sides
    found = reach(IPv4Interface(a), IPv4Interface(b))
    near.become(found.a)
    far.become(found.b)
    with near.socket() as here, far.socket() as there:
        agrees(found.there, near, here, there, found.a, found.b)
        agrees(found.back, far, there, here, found.b, found.a)
