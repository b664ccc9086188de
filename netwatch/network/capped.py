"""A dictionary that strangers may fill: capped, newcomers first out, settled ones by age (contracts 8)."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Generic, ParamSpec, TypeVar

from netwatch.network.clock import NS, TICK, grid

SETTLED_SECONDS = 3

K = TypeVar("K", bound=Hashable)
V = TypeVar("V")
P = ParamSpec("P")


@dataclass(slots=True)
class _Entry(Generic[V]):
    value: V
    seconds: int
    last_second: int
    last: int


class Capped(Generic[K, V]):
    """Keys to values in order of first appearance. ``touch`` makes or finds an entry and notes that it was seen."""

    def __init__(self, name: str, cap: int, age_ns: int = 86_400 * NS) -> None:
        self.name, self.cap, self.age_ns = name, cap, age_ns
        self.refused = self.evicted = 0
        self.first_hit: int | None = None
        self._entries: dict[K, _Entry[V]] = {}
        self._newcomers = 0
        """So many of them are not settled."""

    def touch(self, key: K, time: int, make: Callable[P, V], *told: P.args, **named: P.kwargs) -> V | None:
        """The entry's value; a new one by ``make`` of what is told; None when the table is full."""
        entry = self._entries.get(key)
        second = time // NS
        if entry is None:
            if len(self._entries) >= self.cap:
                self.refused += 1
                self.first_hit = time if self.first_hit is None else self.first_hit
                return None
            entry = self._entries[key] = _Entry(make(*told, **named), 1, second, time)
            self._newcomers += 1
        elif second != entry.last_second:
            entry.seconds, entry.last_second = entry.seconds + 1, second
            self._newcomers -= entry.seconds == SETTLED_SECONDS
        entry.last = time
        return entry.value

    def get(self, key: K) -> V | None:
        entry = self._entries.get(key)
        return None if entry is None else entry.value

    def establish(self, key: K, time: int) -> None:
        """Something else vouches that this entry is no passing one, and was seen until ``time``."""
        entry = self._entries[key]
        self._newcomers -= entry.seconds < SETTLED_SECONDS
        entry.seconds, entry.last = max(entry.seconds, SETTLED_SECONDS), max(entry.last, time)

    def evict(self, time: int) -> None:
        """At a tick's end: the oldest newcomers beyond a fifth of the table leave; the settled leave by age when it fills.

        Ages are looked at on the 10 s grid only, where stretches end however the input was cut.
        """
        many, ages = self._newcomers - self.cap // 5, len(self._entries) > self.cap // 2 and grid(time // TICK - 1)
        if many <= 0 and not ages:
            return
        newcomers = (key for key, entry in self._entries.items() if entry.seconds < SETTLED_SECONDS)
        leaving = list(islice(newcomers, max(0, many)))
        if ages:
            leaving += [key for key, entry in self._entries.items() if entry.last < time - self.age_ns]
        for key in dict.fromkeys(leaving):
            self._newcomers -= self._entries.pop(key).seconds < SETTLED_SECONDS
            self.evicted += 1
            self.first_hit = time if self.first_hit is None else self.first_hit

    @property
    def held(self) -> int:
        return len(self._entries)

    def __len__(self) -> int:
        return len(self._entries)

    def __iter__(self) -> Iterator[K]:
        return iter(self._entries)

    def items(self) -> Iterator[tuple[K, V]]:
        return ((key, entry.value) for key, entry in self._entries.items())

    def values(self) -> Iterator[V]:
        return (entry.value for entry in self._entries.values())
