"""Who polls for Art-Net nodes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from netwatch.decode.tables import Poll
from netwatch.network.capped import Capped
from netwatch.numbers import Numbers

_TARGETED = 0x20
"""ArtPoll flag: only nodes of a range answer (Art-Net 4 p.17)."""
_FEW = 8


@dataclass(slots=True)
class Poller:
    """Who sends ArtPoll."""

    segment: int
    mac: str
    address: str
    times: list[tuple[int, int]] = field(default_factory=list)
    """(ns, n) of polls to all, the newest 8."""


class Pollers:
    """By (segment, address)."""

    def __init__(self, numbers: Numbers) -> None:
        self.table: Capped[tuple[int, str], Poller] = Capped("Art-Net pollers", int(numbers.cap_pollers))

    def fold(self, record: Poll, time: int) -> None:
        """One poll, in order of n."""
        poller = self.table.touch((record.segment, record.src), time, Poller, record.segment, record.mac, record.src)
        if poller is None or record.flags & _TARGETED:
            return
        poller.mac = record.mac
        poller.times.append((time, record.n))
        if len(poller.times) > _FEW:
            del poller.times[:-_FEW]

    def asked(self, segment: int, time: int, within: int) -> bool:
        """Did somebody there poll all, the last time within so many ns before?"""
        return any(
            0 <= time - when <= within
            for poller in self.values() if poller.segment == segment
            for when, _ in poller.times[-1:]
        )  # fmt: skip

    def values(self) -> Iterator[Poller]:
        """By first appearance."""
        return self.table.values()

    def evict(self, time: int) -> None:
        """At tick end."""
        self.table.evict(time)
