"""Controllers that send sACN (with the library ``sacn``), and nodes that receive it."""

from __future__ import annotations

import select
import socket
import struct
import threading
import time
import uuid
from collections.abc import Callable, Iterable

import sacn

from rig.lan import Host
from rig.namespaces import inside
from rig.truth import Truth

E131_PORT = 5568
Bend = Callable[[bytes], bytes | None]
CID_SPACE = uuid.UUID("7d1c9d1e-5f7a-4c39-9d53-c1d2a7a5b0ee")
"""Made up; CIDs are derived from the desks' names, so that a scenario has the same ones each time."""
RESTING, SILENT_AFTER = 250, 2.5
"""Loop rate of the library in Hz; s without a packet after which E1.31 receivers give a source up (E1.31-2018 6.7.1)."""


def group(universe: int) -> str:
    """Multicast group of a universe (E1.31-2018 9.3.1)."""
    return f"239.255.{universe >> 8}.{universe & 255}"


class Desk:
    """An E1.31 controller. A universe that changes is sent ``hz`` times a second, one that rests once a second."""

    def __init__(self, host: Host, name: str, universes: Iterable[int], *, hz: float = 20, priority: int = 100,
                 slots: range = range(24), base: int = 60, resting: Iterable[int] = (), unicast: str | None = None,
                 cid_of: str | None = None, preview: bool = False, listed: bool = True, by_slot: bool = False,
                 sync: int | None = None, bend: Bend | None = None,
                 also: Callable[[int, tuple[int, ...]], None] | None = None) -> None:
        """``also`` is told each universe's every look; ``sync``: the address that it synchronizes all its universes by."""
        cid = tuple(uuid.uuid5(CID_SPACE, cid_of or name).bytes)
        with inside(host.name):
            self.sender = sacn.sACNsender(
                source_name=name, cid=cid, fps=RESTING, universeDiscovery=listed, sync_universe=sync or 1,
            )
        self.hz, self._slots, self._base, self._step = hz, slots, base, 0
        self.universes = list(universes)
        self.resting = set(resting)
        self._also, self.bend = also, bend
        self._watch_wire()
        self.sender.manual_flush = sync is not None
        for universe in self.universes:
            self.sender.activate_output(universe)
            output = self.sender[universe]
            output.multicast, output.priority, output.preview_data = unicast is None, priority, preview
            if unicast:
                output.destination = unicast
            if by_slot:
                output.per_address_priority = tuple(priority * (slot in slots) for slot in range(512))
            output.dmx_data = self._look(universe)
        self._going = threading.Event()
        self._going.set()
        self.sender.start()
        self._thread = threading.Thread(target=self._cue, daemon=True)
        self._thread.start()

    def _watch_wire(self) -> None:
        """What the library sends passes ``bend`` first: it gives the packet to be sent instead, or None."""
        wire = self.sender._sender_handler.socket
        send = wire.send_packet

        def bent(data: Iterable[int], destination: str) -> None:
            packet = bytes(data) if self.bend is None else self.bend(bytes(data))
            if packet is not None:
                send(packet, destination)

        wire.send_packet = bent

    def _look(self, universe: int) -> tuple[int, ...]:
        """A slow chase around the base level on the slots that this desk drives, in no two universes alike; the others are 0."""
        levels = [0] * 512
        for slot in self._slots:
            levels[slot] = self._base + (self._step + slot * 3 + universe * 7) % 40
        return tuple(levels)

    def _cue(self) -> None:
        due = time.monotonic()
        while self._going.is_set():
            self._step += 1
            for universe in self.universes:
                if universe not in self.resting:
                    look = self._look(universe)
                    self.sender[universe].dmx_data = look
                    if self._also:
                        self._also(universe, look)
            if self.sender.manual_flush:
                self.sender.flush()
            due += 1 / self.hz
            time.sleep(max(0.0, due - time.monotonic()))

    def rest(self, *universes: int) -> None:
        """These stand still from now on: 1 Hz keep-alive."""
        self.resting |= set(universes)

    def run(self, *universes: int) -> None:
        """These run a cue."""
        self.resting -= set(universes)

    def kill(self) -> None:
        """Gone without a word, as by a pulled plug: the library's ``stop`` sends no termination."""
        self._going.clear()
        self._thread.join()
        self.sender.stop()

    def end(self) -> None:
        """Says goodbye: three packets with Stream_Terminated for each universe (E1.31-2018 6.2.6)."""
        self._going.clear()
        self._thread.join()
        for universe in self.universes:
            self.sender.deactivate_output(universe)
        self.sender.stop()


class Nodes:
    """Receivers: real sockets with real memberships, watched for light that comes and stays away."""

    def __init__(self, truth: Truth) -> None:
        self._truth = truth
        self._sockets: dict[tuple[str, int], socket.socket] = {}
        self._heard: dict[tuple[str, int], float] = {}
        self._lit: dict[tuple[str, int], bool] = {}
        self._lock = threading.Lock()
        self._going = True
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._thread.start()

    def join(self, host: Host, *universes: int, note: bool = True, asks: bool = True) -> None:
        """The host asks for universes by its kernel; without ``asks`` it only takes what another program on it asked for."""
        for universe in universes:
            with inside(host.name):
                made = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
                made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                made.bind((group(universe), E131_PORT))
                request = socket.inet_aton(group(universe)) + struct.pack("=4si", bytes(4), socket.if_nametoindex("eth0"))
                if asks:
                    made.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, request)
                made.setblocking(False)
            with self._lock:
                self._sockets[host.name, universe] = made
                self._lit[host.name, universe] = False
        if note:
            self._truth.say(host.name, f"{'joins' if asks else 'waits for'} {_listed(universes)}")

    def leave(self, host: Host, *universes: int, note: bool = True) -> None:
        """The host gives universes up."""
        with self._lock:
            for universe in universes or [u for name, u in self._sockets if name == host.name]:
                self._sockets.pop((host.name, universe)).close()
                self._lit.pop((host.name, universe))
        if note:
            self._truth.say(host.name, "leaves all" if not universes else f"leaves {_listed(universes)}")

    def stop(self) -> None:
        self._going = False
        self._thread.join()

    def _watch(self) -> None:
        while self._going:
            with self._lock:
                by_socket = {made: key for key, made in self._sockets.items()}
            ready = select.select(list(by_socket), [], [], 0.1)[0]
            now = time.time()
            with self._lock:
                for made in ready:
                    if self._sockets.get(by_socket[made]) is made:
                        self._drain(made)
                        self._heard[by_socket[made]] = now
                self._judge(now)

    def _drain(self, made: socket.socket) -> None:
        try:
            while True:
                made.recv(2048)
        except BlockingIOError:
            return

    def _judge(self, now: float) -> None:
        for key, lit in self._lit.items():
            heard = self._heard.get(key, 0.0)
            if (now - heard < SILENT_AFTER) != lit:
                self._lit[key] = not lit
                what = f"gets no light of universe {key[1]} any more" if lit else f"gets light of universe {key[1]}"
                self._truth.say(key[0], what, cause=f"{key[0]}-dark" if lit else None, at=heard)


def _listed(universes: Iterable[int]) -> str:
    names = [str(universe) for universe in universes]
    return f"universe{'s' if len(names) > 1 else ''} {', '.join(names)}"
