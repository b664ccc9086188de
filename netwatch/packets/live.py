"""What all live sources share: marks once a second and port, facts put in by others, numbering, and a prompt end."""

from __future__ import annotations

import socket
import threading
import time
from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Collection, Iterator, Mapping
from typing import Any

from netwatch.packets import machine
from netwatch.packets.around import Around
from netwatch.packets.batch import FileSeen, Item, Mark, PacketBatch, Port

MARK_EVERY_S = 1.0
MARK_BEHIND_NS = 200_000_000
"""A mark's time is the clock less this, so that the packets before it have been handed over."""
LINGER_S = 0.08
"""At the end: longer than the kernel keeps a block (60 ms), so that what arrived before the end is still read."""


class Wake:
    """Lets any thread or signal handler end a wait in select or poll."""

    def __init__(self) -> None:
        self._here, self._there = socket.socketpair()
        self._here.setblocking(False)
        self._there.setblocking(False)

    def fileno(self) -> int:
        return self._here.fileno()

    def ring(self) -> None:
        try:
            self._there.send(b"\0")
        except OSError:
            return  # full: a wake is pending; closed: nobody waits

    def clear(self) -> None:
        try:
            while self._here.recv(4096):
                pass
        except BlockingIOError:
            return

    def close(self) -> None:
        self._here.close()
        self._there.close()


class LiveSource(ABC):
    """A source that listens. Opened when made (so rights can go afterwards), read by iterating in one thread."""

    linger = LINGER_S

    def __init__(self, ports: tuple[Port, ...]) -> None:
        self.files: list[FileSeen] = []
        self.ports = ports
        self._first = 1
        self._wake = Wake()
        self._stop = threading.Event()
        self._reading = threading.Lock()
        self._said: deque[tuple[int, Mapping[str, Any]]] = deque()
        self._told: dict[int, Mapping[str, Any]] = {}
        self._around = Around()
        self._due = 0.0
        """Monotonic time of the next marks; 0 = at once."""

    def _told_of(self, name: str, known: Mapping[str, machine.Interface]) -> dict[str, Any]:
        """What the laptop says of one interface, and of what stands around it."""
        return machine.facts(known.get(name)) | self._around.facts(known, name)

    @abstractmethod
    def _wait(self, seconds: float) -> None:
        """Until something can be read, ``_wake`` rings, or the time is over."""

    @abstractmethod
    def _take(self) -> Iterator[PacketBatch]:
        """What has arrived; ends though more may keep arriving."""

    @abstractmethod
    def _counters(self, port: int) -> tuple[int | None, int | None]:
        """Received and dropped since start."""

    @abstractmethod
    def _facts(self) -> Mapping[int, Mapping[str, Any]]:
        """What the laptop says of itself, for each port."""

    @abstractmethod
    def _release(self) -> None:
        """Close what is open; called once."""

    @abstractmethod
    def _keep(self, numbers: list[int]) -> None:
        """Close all ports but these, and set their counters to 0."""

    def only(self, names: Collection[str]) -> None:
        """Go on with these interfaces alone, as if just opened: numbering and counters begin anew."""
        numbers = [number for number, port in enumerate(self.ports) if port.name in names]
        self._keep(numbers)
        self.ports = tuple(self.ports[number] for number in numbers)
        self._first = 1
        self._told.clear()

    def say(self, facts: Mapping[str, Any], port: int = 0) -> None:
        """Put facts (a phase, a person's word) into the stream as a mark; from any thread."""
        self._said.append((port, facts))
        self._wake.ring()

    def close(self) -> None:
        """End the iteration, from any thread; what arrived until now is still handed over."""
        self._stop.set()
        self._wake.ring()
        if self._reading.acquire(blocking=False):
            try:
                self._close()
            finally:
                self._reading.release()

    def __iter__(self) -> Iterator[Item]:
        return self.items()

    def items(self, seconds: float | None = None) -> Iterator[Item]:
        """Packets and marks as they come, until ``close`` or for so long; a later call goes on where this one ended."""
        with self._reading:
            try:
                yield from self._items(seconds)
            finally:
                if self._stop.is_set():
                    self._close()

    def _items(self, seconds: float | None) -> Iterator[Item]:
        if self._stop.is_set():
            return
        end = None if seconds is None else time.monotonic() + seconds
        self._due = time.monotonic() + MARK_EVERY_S
        yield from self._marks(always=True)
        yield from self._words()
        while not self._stop.is_set() and (end is None or time.monotonic() < end):
            self._wait(max(0.0, min(self._due, end or self._due) - time.monotonic()))
            yield from self._take()
            yield from self._words()
            if time.monotonic() >= self._due:
                self._due = time.monotonic() + MARK_EVERY_S
                yield from self._marks()
        time.sleep(self.linger)
        yield from self._take()
        yield from self._words()
        yield from self._marks(always=True)

    def _words(self) -> Iterator[Mark]:
        while self._said:
            port, facts = self._said.popleft()
            yield Mark(time.time_ns() - MARK_BEHIND_NS, port, *self._counters(port), facts, self.ports)

    def _marks(self, always: bool = False) -> Iterator[Mark]:
        """One mark a port; facts only when they are news, or always."""
        facts = self._facts()
        for port in range(len(self.ports)):
            news = facts[port] if always or facts[port] != self._told.get(port) else None
            self._told[port] = facts[port]
            yield Mark(time.time_ns() - MARK_BEHIND_NS, port, *self._counters(port), news, self.ports)

    def _number(self, rows: int) -> int:
        """n of the first of the next ``rows`` packets."""
        first, self._first = self._first, self._first + rows
        return first

    def _close(self) -> None:
        if self._wake.fileno() >= 0:
            self._release()
            self._wake.close()
