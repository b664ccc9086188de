"""The limited view: light that reaches this laptop's own UDP sockets, without any rights.

On Linux one IPv6 socket that also takes IPv4, with SO_REUSEADDR alone, stands behind every other socket: measured, a program
that binds later with SO_REUSEADDR gets all unicast (an IPv4 one even if it was there before). One combination would still lose
it, an IPv6 socket with SO_REUSEPORT; so a port is given up as soon as somebody else is seen to hold it. A program that binds
without SO_REUSEADDR is refused by the system while we hold the port; no option of ours would let it in.
"""

from __future__ import annotations

import ipaddress
import select
import socket
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from netwatch.packets import datagrams, machine
from netwatch.packets.batch import DIRECTION_IN, DIRECTION_OUT, BatchBuilder, PacketBatch
from netwatch.packets.holders import UNNAMED, holder
from netwatch.packets.live import LiveSource
from netwatch.packets.witness import LIGHT_PORTS

LIMITED = ("Limited view: only light that is sent to this laptop is seen. A program that wants UDP port 5568 or 6454 for itself "
           "can't start while this runs.")

_MOST_ROWS, _MOST_BYTES = 4_096, 3 << 20


class PlainSource(LiveSource):
    """Datagrams to the lighting ports as raw-IP rows with made-up headers; ``names`` empty = all interfaces that are up.

    ``left_alone`` names the program for each UDP port that another one holds. ``Mark.received`` counts dropped ones too.
    """

    linger = 0.0

    def __init__(self, names: Sequence[str] = (), udp_ports: Sequence[int] = LIGHT_PORTS) -> None:
        chosen = [machine.usable(name) for name in names] or [each for each in machine.interfaces().values() if each.up]
        super().__init__(tuple(machine.port(each, machine.RAW_IP, "sockets", made_up=True) for each in chosen[:64]))
        self.left_alone: dict[int, str] = {}
        self._sockets: dict[int, socket.socket] = {}
        self._received, self._dropped = [0] * len(self.ports), [0] * len(self.ports)
        self._lost: dict[int, int] = {}
        self._numbers: dict[int, int] = {}
        self._own: set[bytes] = set()
        self._buffer = bytearray(65_536)
        for udp_port in udp_ports:
            self._hold(udp_port)
        self._look_around()

    # ---- whose ports ----

    def _hold(self, udp_port: int) -> None:
        """Open a socket unless a program holds the port already."""
        program = holder(udp_port)
        if program is None:
            try:
                self._sockets[udp_port] = datagrams.open_socket(udp_port)
                return
            except OSError:
                program = UNNAMED
        self.left_alone[udp_port] = program

    def _give_way(self) -> None:
        """Give a port up to a program that was started later."""
        for udp_port, held in list(self._sockets.items()):
            program = holder(udp_port, [held.fileno()])
            if program is not None:
                self.left_alone[udp_port] = program
                self._sockets.pop(udp_port).close()

    def _keep(self, numbers: list[int]) -> None:
        self._received, self._dropped = [0] * len(numbers), [0] * len(numbers)

    def _look_around(self) -> dict[str, machine.Interface]:
        known = machine.interfaces()
        numbers = {port.name: number for number, port in enumerate(self.ports)}
        self._numbers = {index: numbers[name] for index, name in socket.if_nameindex() if name in numbers}
        self._own = {socket.inet_aton(each.partition("/")[0]) for one in known.values() for each in one.networks}
        return known

    # ---- reading ----

    def _wait(self, seconds: float) -> None:
        waiting = [self._wake.fileno()] + [held.fileno() for held in self._sockets.values()]
        select.select(waiting, [], [], seconds)
        self._wake.clear()

    def _take(self) -> Iterator[PacketBatch]:
        rows = [row for udp_port, held in self._sockets.items() for row in self._read(udp_port, held)]
        if not rows:
            return
        builder = BatchBuilder(self.ports, self._number(len(rows)))
        for time, port, direction, packet in sorted(rows, key=lambda row: row[0]):
            builder.add(packet, time, port, direction)
        yield builder.take()

    def _read(self, udp_port: int, held: socket.socket) -> Iterator[tuple[int, int, int, bytes]]:
        """(time, port, direction, packet) of what waits at a socket."""
        size = 0
        for _ in range(_MOST_ROWS):
            try:
                came = datagrams.receive(held, self._buffer)
            except OSError:
                return  # nothing waits; or an error that did, which is cleared now
            port = None if came is None else self._port_of(came)
            if came is None or port is None:
                continue
            self._count(udp_port, port, came.overflow)
            to = came.to or self._address_of(port)
            packet = datagrams.made_up(came.sender, (to, udp_port), came.payload)
            yield came.time, port, DIRECTION_OUT if came.sender[0] in self._own else DIRECTION_IN, packet
            size += len(packet)
            if size > _MOST_BYTES:
                return

    def _port_of(self, came: datagrams.Arrival) -> int | None:
        """By the interface; where that is not told, by the sender's network, else the first."""
        if came.interface is not None:
            return self._numbers.get(came.interface)
        sender = ipaddress.IPv4Address(came.sender[0])
        near = (number for number, port in enumerate(self.ports)
                for network in port.networks if sender in ipaddress.ip_interface(network).network)
        return next(near, 0 if self.ports else None)

    def _address_of(self, port: int) -> bytes:
        """Own address: the destination where the system does not tell it."""
        networks = self.ports[port].networks
        return socket.inet_aton(networks[0].partition("/")[0] if networks else "0.0.0.0")

    def _count(self, udp_port: int, port: int, overflow: int | None) -> None:
        lost = (overflow or 0) - self._lost.get(udp_port, 0)
        if lost > 0:
            self._lost[udp_port] = overflow or 0
            self._dropped[port] += lost
            self._received[port] += lost
        self._received[port] += 1

    # ---- what the laptop says ----

    def _counters(self, port: int) -> tuple[int | None, int | None]:
        return self._received[port], self._dropped[port]

    def _facts(self) -> dict[int, Mapping[str, Any]]:
        self._give_way()
        known = self._look_around()
        view = {"limited": True, "left_alone": {str(port): name for port, name in self.left_alone.items()}}
        return {number: self._told_of(port.name, known) | view for number, port in enumerate(self.ports)}

    def _release(self) -> None:
        for held in self._sockets.values():
            held.close()
