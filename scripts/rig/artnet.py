"""Art-Net: controllers (with the library ``stupidArtnet``), and pollers and nodes of our own, for no library answers polls.

Layouts: Art-Net 4, document revision 1.4di; the pages stand beside them.
"""

from __future__ import annotations

import socket
import struct
import threading
import time
from collections.abc import Iterable
from itertools import groupby

from stupidArtnet import StupidArtnet

from rig.lan import Host
from rig.namespaces import inside

PORT, ID, VERSION = 6454, b"Art-Net\0", 14
POLL, POLL_REPLY, DMX = 0x2000, 0x2100, 0x5000
EVERYBODY = "255.255.255.255"
TARGETED = 0x20
"""ArtPoll flag: only nodes with a Port-Address in a range answer (p.16)."""
OUTPUT, FED, MERGING, LONG_NUMBERS = 0x80, 0x80, 0x08, 0x08
"""PortTypes bit 7 (p.27), GoodOutputA bits 7 and 3 (p.28), Status2 bit 3: 15-bit Port-Addresses (p.30)."""
HOLD = 10.0
"""s that a source which stopped stays in the merge (p.63)."""


class ArtnetOut:
    """Sends Art-Net universes frame by frame, to all or to one box."""

    def __init__(self, host: Host, to: str = EVERYBODY, sequence: int | None = None) -> None:
        """``sequence``: the one number of all packets, 0 = 'not used' (p.60); None = they count."""
        self._host, self._to, self._sequence = host, to, sequence
        self._universes: dict[int, StupidArtnet] = {}

    def send(self, universe: int, levels: Iterable[int]) -> None:
        """One ArtDmx of 512 slots."""
        port = self._universes.get(universe) or self._open(universe)
        port.buffer = bytearray(levels).ljust(512, b"\0")
        # The library writes the number only when the header is made anew.
        port.sequence = (port.sequence or 1) if self._sequence is None else self._sequence
        port.make_artdmx_header()
        port.show()

    def sync(self) -> None:
        """One ArtSync (p.64)."""
        next(iter(self._universes.values())).send_artsync()

    def _open(self, universe: int) -> StupidArtnet:
        with inside(self._host.name):
            made = StupidArtnet(self._to, universe, 512, broadcast=self._to.endswith(".255"), source_address=("0.0.0.0", PORT))
        return self._universes.setdefault(universe, made)


class Repeating:
    """Something that happens again and again in a thread of its own, until it is killed."""

    def __init__(self, hz: float) -> None:
        self._every = 1 / hz
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._loop, daemon=True)
        self._thread.start()

    def once(self) -> None:
        raise NotImplementedError

    def _loop(self) -> None:
        due = time.monotonic()
        while not self._over.is_set():
            self.once()
            due += self._every
            self._over.wait(max(0.0, due - time.monotonic()))

    def kill(self) -> None:
        """Gone without a word."""
        self._over.set()
        self._thread.join()


class ArtnetDesk(Repeating):
    """An Art-Net controller; broadcast, or to one node. Its light moves, or is repeated as it is."""

    def __init__(self, host: Host, universes: Iterable[int], *, to: str = EVERYBODY, hz: float = 20, moves: bool = True,
                 sequence: int | None = None, sync: bool = False) -> None:
        self._out, self._universes = ArtnetOut(host, to, sequence), list(universes)
        self._moves, self._step = moves, 0
        self.sync = sync
        super().__init__(hz)

    def once(self) -> None:
        self._step += self._moves
        for universe in self._universes:
            self._out.send(universe, bytes((self._step + slot) % 200 + 1 for slot in range(24)))
        if self.sync:
            self._out.sync()


class Poller(Repeating):
    """A controller that asks for nodes every 2.5 to 3 s (p.15)."""

    def __init__(self, host: Host, *, to: str = EVERYBODY, every: float = 2.5) -> None:
        self._to, self._socket = to, _open_socket(host)
        super().__init__(1 / every)

    def once(self) -> None:
        """ArtPoll, 22 octets (p.17): all nodes, no diagnostics."""
        packet = ID + struct.pack("<H", POLL) + struct.pack(">HBBHHHH", VERSION, 0x02, 0, 0, 0, 0x7FF0, 0x00FF)
        self._socket.sendto(packet, (self._to, PORT))


class ArtnetNode:
    """A node that answers polls with one reply for each four outputs, and looks at the light that it is sent."""

    def __init__(self, host: Host, outputs: Iterable[int], *, name: str | None = None, address: str | None = None,
                 to_all: str | None = None) -> None:
        """``address``: told in the replies instead of its own; ``to_all``: where replies go instead of to who asked (1.4dd)."""
        self._host, self._name, self._told, self._to_all = host, name or host.name, address, to_all
        binds = [list(numbers) for _, numbers in groupby(sorted(outputs), lambda number: number >> 4)]
        self._binds = [numbers[at : at + 4] for numbers in binds for at in range(0, len(numbers), 4)] or [[]]
        self._sent: dict[int, dict[str, float]] = {}
        """Port-Address to sender to when its newest ArtDmx came."""
        self._replies = 0
        self.answers = True
        """False: its program hangs, though the box lives."""
        self._over = threading.Event()
        self._socket = _open_socket(host)
        self._socket.settimeout(0.2)
        self._thread = threading.Thread(target=self._loop, daemon=True)
        self._thread.start()

    def kill(self) -> None:
        """Gone without a word."""
        self._over.set()
        self._thread.join()
        self._socket.close()

    def _loop(self) -> None:
        while not self._over.is_set():
            try:
                packet, (sender, _) = self._socket.recvfrom(2048)
            except TimeoutError:
                continue
            if packet[:8] != ID or len(packet) < 14:
                continue
            opcode, version = int.from_bytes(packet[8:10], "little"), int.from_bytes(packet[10:12])
            if version < VERSION or not self.answers:
                continue
            if opcode == POLL and self._asked(packet):
                self._reply(sender)
            elif opcode == DMX and len(packet) >= 18:
                self._sent.setdefault(packet[15] << 8 | packet[14], {})[sender] = time.monotonic()

    def _asked(self, poll: bytes) -> bool:
        """Everybody, or those in the range from bottom to top (p.16)."""
        if not poll[12] & TARGETED:
            return True
        top, bottom = struct.unpack(">HH", poll[14:18].ljust(4, b"\0"))
        return any(bottom <= number <= top for numbers in self._binds for number in numbers)

    def _reply(self, asked_by: str) -> None:
        try:
            own = self._own_address(asked_by)
        except OSError:
            return  # it has no address yet
        for index, numbers in enumerate(self._binds, 1):
            self._replies += 1
            good = [self._good(number) for number in numbers]
            packet = poll_reply(self._name, self._host.mac, self._told or own, own, index, numbers, good, self._replies)
            self._socket.sendto(packet, (self._to_all or asked_by, PORT))

    def _own_address(self, towards: str) -> str:
        with inside(self._host.name), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect((towards, PORT))
            return str(probe.getsockname()[0])

    def _good(self, number: int) -> int:
        """GoodOutputA of an output: it puts out what it is sent; several sources are merged (p.28, p.62)."""
        lately = [when for when in self._sent.get(number, {}).values() if time.monotonic() - when < HOLD]
        return FED * bool(lately) | MERGING * (len(lately) > 1)


def poll_reply(name: str, mac: str, told: str, own: str, index: int, numbers: list[int], good: list[int], count: int) -> bytes:
    """ArtPollReply, 239 octets (p.24 to 32), of one bind: at most four outputs of one Net and Sub-Net."""
    base, ports = (numbers[0] if numbers else 0), len(numbers)
    return struct.pack(
        ">8s2s4s2sHBBHBB2s18s64s64sH4s4s4s4s4sBBB3xB6s4sBB4sB6sHH11x",
        ID, struct.pack("<H", POLL_REPLY), socket.inet_aton(told), struct.pack("<H", PORT), 0x0107,
        base >> 8, base >> 4 & 15, 0x00FF, 0, 0xD0, struct.pack("<H", 0x7FF0),
        name.encode()[:17], name.encode()[:63], f"#0001 [{count % 10_000:04}] Power on tests OK".encode(),
        ports, bytes([OUTPUT] * ports), b"", bytes(good), b"", bytes(number & 15 for number in numbers), 100, 0, 0, 0,
        bytes.fromhex(mac.replace(":", "")), socket.inet_aton(own), index, LONG_NUMBERS, b"", 0, b"", 0, 44,
    )  # fmt: skip


def _open_socket(host: Host) -> socket.socket:
    """Art-Net's own port as source and destination (p.10), shared with others on the host."""
    with inside(host.name):
        made = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
        made.bind(("0.0.0.0", PORT))
    return made
