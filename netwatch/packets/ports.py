"""Which port an interface of a file is: the same one as before, or one of its own."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from .batch import Port

MAX_PORTS = 64

OTHERS = Port("others", 147)
"""Interfaces for which there is no room. Link type 147 is set aside for private use: nobody decodes it as something it is not."""


class PortTable:
    """Ports in order of appearance. An interface gets the port of its name and link type unless another one holds it."""

    def __init__(self) -> None:
        self.ports: tuple[Port, ...] = ()
        self.refused = 0
        """Interfaces that went to 'others'."""
        self._keys: list[tuple[str, int]] = []
        self._held: set[int] = set()

    def take(self, port: Port) -> int:
        """The index of an interface's port, held from now on."""
        key = (port.name, port.link_type)
        for index, known in enumerate(self._keys):
            if known == key and index not in self._held:
                self._held.add(index)
                return index
        if len(self._keys) >= MAX_PORTS - 1:
            return self._other(port)
        index = len(self._keys)
        self._keys.append(key)
        self._held.add(index)
        self.ports += (replace(port, name=self._unique(port.name)),)
        return index

    def release(self, indices: Iterable[int]) -> None:
        """Their interfaces are gone: a section or a file has ended."""
        self._held.difference_update(indices)

    def _unique(self, name: str) -> str:
        used = {port.name for port in self.ports}
        tries = (f"{name} {number}" for number in range(2, MAX_PORTS + 2))
        return name if name not in used else next(fresh for fresh in tries if fresh not in used)

    def _other(self, port: Port) -> int:
        self.refused += port != OTHERS  # those behind another table's 'others' were counted there
        if len(self.ports) < MAX_PORTS:
            self.ports += (replace(OTHERS, name=self._unique(OTHERS.name)),)
        return MAX_PORTS - 1
