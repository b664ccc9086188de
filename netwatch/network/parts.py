"""Tables that records change many times a second on a busy network: who reads one is noted, and how often each changed.

A rule is asked again where one of those that it read has changed; nobody has to declare what a rule rests on. Where much of a
table changes all the time and some rules look at the rest alone, that rest is a part of its own, under another name.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection
from typing import Generic, Protocol, TypeVar, overload

T = TypeVar("T")


class Parts:
    """Changes and readings of the parts of one model, by name."""

    def __init__(self) -> None:
        self.read: set[str] = set()
        """Parts that somebody looked at, since ``reading`` began."""
        self.changes: Counter[str] = Counter()
        self.records = 0
        """Records that changed nothing but parts."""

    def note(self, changed: Collection[str]) -> None:
        """A record changed these parts, and nothing else."""
        self.records += 1
        for part in changed:
            self.changes[part] += 1

    def reading(self, look: Callable[[], T]) -> tuple[T, set[str]]:
        """What somebody sees, and the parts that were looked at for it."""
        self.read = set()
        told = look()
        read, self.read = self.read, set()
        return told, read

    def changes_of(self, parts: Collection[str]) -> int:
        """Rises with every change of one of these."""
        return sum(self.changes[part] for part in parts)


class HasParts(Protocol):
    parts: Parts


class Part(Generic[T]):
    """An attribute that is such a table."""

    def __set_name__(self, owner: type, name: str) -> None:
        self._name, self._place = name, f"_{name}"

    @overload
    def __get__(self, model: None, owner: type) -> Part[T]: ...
    @overload
    def __get__(self, model: HasParts, owner: type) -> T: ...
    def __get__(self, model: HasParts | None, owner: type) -> T | Part[T]:
        if model is None:
            return self
        model.parts.read.add(self._name)
        table: T = model.__dict__[self._place]
        return table

    def __set__(self, model: HasParts, table: T) -> None:
        model.__dict__[self._place] = table
