"""A short memory of what changed: boxes, addresses, servers, queriers, requests for groups, sources, the link.

It grows only with new keys, records, marks and at steps of the 10 s grid, so that it does not matter how the input was cut.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from netwatch.network.clock import NS

KEPT = 512
"""Newest changes of one kind that are kept: a flood of one kind takes nothing from the others. Common practice, no source."""
SETTLING = {"host": 30 * NS, "address": 30 * NS, "server": 30 * NS, "querier": 30 * NS, "source": 5 * NS}
"""What was there already is heard for the first time within so long of our beginning: no change. Common practice, no source."""


class Change(NamedTuple):
    """One change. MAC 0, '' and None = not told."""

    at: int
    """ns."""
    what: str
    """host, address, taken, server, querier, querier-gone, left, own-join, source, source-back, link."""
    segment: int
    n: int = 0
    """Packet number, 0 = none."""
    mac: int = 0
    address: str = ""
    before: str = ""
    """What the address was before; MAC text of who used it before; the link's state before."""
    name: str = ""
    universe: int | None = None
    protocol: int = 0


class Changes:
    """The newest changes of each kind."""

    def __init__(self) -> None:
        self._kept: dict[str, deque[Change]] = {}
        self.noted = 0

    def note(self, change: Change) -> None:
        """Remember one."""
        self.noted += 1
        self._kept.setdefault(change.what, deque(maxlen=KEPT)).append(change)

    def note_all(self, what: str, changes: Sequence[Change]) -> None:
        """Remember several of a kind, of which the newest 512 are enough."""
        if changes:
            self.noted += len(changes)
            self._kept.setdefault(what, deque(maxlen=KEPT)).extend(changes)

    def between(self, first: int, last: int, begun: int) -> Iterator[Change]:
        """Those from ``first`` to ``last``, without what was merely heard for the first time since ``begun``."""
        for what, kept in self._kept.items():
            settled = begun + SETTLING.get(what, 0)
            for change in kept:
                if first <= change.at <= last and (what not in SETTLING or change.at >= settled):
                    yield change
