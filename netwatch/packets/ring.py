"""Listening on Linux: the kernel's packet rings of one or several interfaces, read in batches. Sends nothing, joins nothing."""

from __future__ import annotations

import contextlib
import select
import socket
import time
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from netwatch.packets import machine, tpacket
from netwatch.packets.batch import I64, MAX_BYTES, MAX_ROWS, TAIL, U8, PacketBatch
from netwatch.packets.kernel_ring import Block, Ring
from netwatch.packets.live import LiveSource
from netwatch.packets.witness import Witness
from netwatch.words.awake import successor

RING_BYTES = 64 << 20
"""Of one interface: 0.5 s of a full gigabit link, and less for each where many are listened to."""
ALL_RINGS_BYTES = 96 << 20
PAUSE_S = 0.04
"""At least this between two readings, so that blocks pile up into larger batches."""


class RingSource(LiveSource):
    """Every frame of one or several interfaces, in promiscuous mode; times in ns from the kernel.

    ``CannotListen`` says why one can't be opened. ``Mark.received`` counts dropped frames too, as the kernel does.
    """

    def __init__(self, names: Sequence[str], size: int | None = None) -> None:
        size = size or min(RING_BYTES, ALL_RINGS_BYTES // max(1, len(names)))
        self._rings: list[Ring] = []
        try:
            for name in dict.fromkeys(names):
                self._rings.append(Ring(machine.usable(name), size))
        except machine.CannotListen:
            for ring in self._rings:
                ring.close()
            raise
        super().__init__(tuple(machine.port(ring.interface, ring.link_type, "ring") for ring in self._rings))
        self._witnesses = [_witness(ring) for ring in self._rings]
        self._read_at = 0.0

    def _keep(self, numbers: list[int]) -> None:
        kept = [self._rings[number] for number in numbers]
        for ring, witness in zip(self._rings, self._witnesses, strict=True):
            if ring not in kept:
                _close(ring, witness)
        self._witnesses = [self._witnesses[number] for number in numbers]
        self._rings = kept
        for ring in kept:
            ring.count()
            ring.received = ring.dropped = 0

    def _release(self) -> None:
        for ring, witness in zip(self._rings, self._witnesses, strict=True):
            _close(ring, witness)

    # ---- waiting and reading ----

    def _wait(self, seconds: float) -> None:
        poll = select.poll()
        poll.register(self._wake, select.POLLIN)
        early = PAUSE_S - (time.monotonic() - self._read_at)
        if early > 0:
            poll.poll(1000 * min(early, seconds))
        if early < seconds:
            for ring in self._rings:
                poll.register(ring.socket, select.POLLIN)
            events = dict(poll.poll(1000 * (seconds - max(0.0, early))))
            for ring in self._rings:
                if events.get(ring.socket.fileno(), 0) & select.POLLERR:
                    ring.socket.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)  # down or gone: told once
                    self._due = 0.0
        self._wake.clear()
        self._read_at = time.monotonic()

    def _take(self) -> Iterator[PacketBatch]:
        left = sum(ring.blocks for ring in self._rings)  # one revolution at most: marks must not starve
        while left > 0:
            chosen = self._choose(left)
            if not chosen:
                return
            left -= len(chosen)
            yield self._batch(chosen)

    def _choose(self, most: int) -> list[tuple[int, Block]]:
        """Blocks that are ready, with their ring's number, oldest first, as many as a batch may hold."""
        chosen: list[tuple[int, Block]] = []
        ahead = [0] * len(self._rings)
        size = rows = 0
        while len(chosen) < most:
            ready = [(block, number) for number, ring in enumerate(self._rings) if (block := ring.ready(ahead[number]))]
            if not ready:
                break
            block, number = min(ready)
            size, rows = size + _padded(block.length), rows + block.packets
            if size > MAX_BYTES or rows > MAX_ROWS:
                break
            ahead[number] += 1
            chosen.append((number, block))
        return chosen

    def _batch(self, chosen: list[tuple[int, Block]]) -> PacketBatch:
        """The packets of these blocks, copied out; those of several rings merged by time."""
        data = np.empty(sum(_padded(block.length) for _, block in chosen) + TAIL, np.uint8)
        found, at = [], 0
        for number, block in chosen:
            self._rings[number].copy_out(data[at : at + block.length])
            found.append(tpacket.starts(data, at + block.first, block.packets))
            at += _padded(block.length)
        data[at:] = 0
        port = np.repeat(np.array([number for number, _ in chosen], np.uint8), [block.packets for _, block in chosen])
        ethernet = np.array([ring.link_type == machine.ETHERNET for ring in self._rings])[port]
        rows = tpacket.read(data, np.concatenate(found), ethernet)
        columns: dict[str, npt.NDArray[Any]] = {
            "start": rows.start, "caplen": rows.caplen, "wirelen": rows.wirelen, "time": rows.time, "port": port,
            "direction": rows.direction,
        }
        if len(self._rings) > 1:
            order = _merged(rows.time, port, len(self._rings))
            columns = {name: column[order] for name, column in columns.items()}
        for column in (data, *columns.values()):
            column.flags.writeable = False
        return PacketBatch(data, **columns, first=self._number(len(port)), ports=self.ports)

    # ---- what the laptop says ----

    def _counters(self, port: int) -> tuple[int | None, int | None]:
        ring = self._rings[port]
        ring.count()
        return ring.received, ring.dropped

    def _facts(self) -> Mapping[int, Mapping[str, Any]]:
        known, indexes = machine.interfaces(), dict(socket.if_nameindex())
        told: dict[int, dict[str, Any]] = {}
        for number, (ring, witness) in enumerate(zip(self._rings, self._witnesses, strict=True)):
            if ring.index not in indexes and self._succeed(ring, known) and witness is not None:
                witness.bind(ring.index)
            told[number] = self._told_of(dict(socket.if_nameindex()).get(ring.index, ""), known)
            if witness is not None:
                told[number]["reaches"] = witness.reached()
        return told

    def _succeed(self, ring: Ring, known: dict[str, machine.Interface]) -> bool:
        """Go on with the interface that took the place of one that has gone: the same name, or the same MAC address."""
        taken = {each.interface.name for each in self._rings if each is not ring}
        old = ring.interface
        for new in sorted(known.values(), key=lambda each: each.name != old.name):
            same = new.name == old.name or (new.mac and new.mac == old.mac and new.kind == old.kind)
            if same and new.up and new.name not in taken:
                with contextlib.suppress(OSError, machine.CannotListen):  # gone again already, or not of the same sort
                    if machine.link_type(new.name) == ring.link_type:
                        ring.bind(new)
                        self._renamed(ring, old.name, new.name)
                        return True
        return False


    def _renamed(self, ring: Ring, old: str, new: str) -> None:
        """It goes by its first name on; what happened becomes a part of the input."""
        if old != new:
            self.say({"laptop": successor(old, new)}, self._rings.index(ring))


def _witness(ring: Ring) -> Witness | None:
    """One for frames of Ethernet, where the system lets us."""
    if ring.link_type != machine.ETHERNET or ring.interface.name == "lo":
        return None
    try:
        return Witness(ring.index)
    except OSError:
        return None


def _close(ring: Ring, witness: Witness | None) -> None:
    ring.close()
    if witness is not None:
        witness.close()


def _padded(length: int) -> int:
    return length + -length % 8


def _merged(time_: I64, port: U8, ports: int) -> npt.NDArray[np.intp]:
    """Order by time; within a port the order of arrival stays."""
    key = time_.copy()
    for number in range(ports):
        of_port = port == number
        key[of_port] = np.maximum.accumulate(time_[of_port])
    return np.argsort(key, kind="stable")
