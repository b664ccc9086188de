"""Boxes: what is known of one MAC on one segment, beside its addresses. In columns, for strangers can invent many at once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from netwatch.network.clock import TICK
from netwatch.network.keys import KeyTable, grown
from netwatch.numbers import Numbers

I64 = npt.NDArray[np.int64]

USES = 4
"""A box with more addresses is a router, or stands for others: a further one is no news. Common practice, no source."""


@dataclass(slots=True)
class _Told:
    """What records told of a box."""

    names: dict[str, str] = field(default_factory=dict)
    server: str = ""


_UNTOLD = _Told()
_NOTHING: Mapping[str, str] = MappingProxyType({})


class Box:
    """One box, as it stands while it is looked at. Times in ns."""

    __slots__ = ("_at", "_of")

    def __init__(self, of: Boxes, at: int) -> None:
        self._of, self._at = of, at

    @property
    def mac(self) -> int:
        return int(self._of.table.keys[self._at, 1])

    @property
    def first(self) -> int:
        return int(self._of.first[self._at])

    @property
    def last(self) -> int:
        return int(self._of.last[self._at])

    @property
    def names(self) -> Mapping[str, str]:
        """Name by where it came from: 'DHCP', 'sACN', 'Art-Net', 'LLDP'."""
        told = self._of.told.get(self._at)
        return _NOTHING if told is None else told.names

    @property
    def server(self) -> str:
        """DHCP server that it last named."""
        told = self._of.told.get(self._at)
        return "" if told is None else told.server

    @property
    def uses(self) -> list[int]:
        """The first few addresses that it was heard to use."""
        used: list[int] = self._of.uses[self._at, : self._of.used[self._at]].tolist()
        return used


class Boxes:
    """By (segment, MAC)."""

    def __init__(self, numbers: Numbers) -> None:
        self.table = KeyTable("boxes", 2, int(numbers.cap_hosts))
        self.first = np.zeros(16, np.int64)
        self.last = np.zeros(16, np.int64)
        self.uses = np.zeros((16, USES), np.int64)
        self.used = np.zeros(16, np.int64)
        """How many of them are there."""
        self.told: dict[int, _Told] = {}
        self._made = 0
        """Boxes so far: newcomers leave by the order in which they came."""

    # ---- what is known ----

    def __len__(self) -> int:
        return self.table.held

    def get(self, key: tuple[int, int]) -> Box | None:
        """None = not known."""
        box = self.table.get(*key)
        return None if box < 0 else Box(self, box)

    def items(self) -> Iterator[tuple[tuple[int, int], Box]]:
        """By first appearance."""
        used = np.flatnonzero(self.table.used[: self.table.size])
        for box in used[np.argsort(self.table.born[used])].tolist():
            segment, mac = self.table.keys[box].tolist()
            yield (segment, mac), Box(self, box)

    def macs(self, segment: int) -> list[int]:
        """MACs of a segment."""
        size = self.table.size
        here = self.table.used[:size] & (self.table.keys[:size, 0] == segment)
        macs: list[int] = self.table.keys[:size, 1][here].tolist()
        return macs

    # ---- the fold ----

    def hear(self, segment: I64, mac: I64, time: I64) -> tuple[I64, I64]:
        """Boxes are heard, in order: (their ids, -1 where the table is full; the rows that made a new one)."""
        order = np.arange(self._made, self._made + len(mac))
        ids, new = self.table.admit_all((segment.astype(np.uint64), mac.astype(np.uint64)), order, time)
        self._made += len(mac)
        while self.table.size > len(self.first):
            self.first, self.last, self.uses, self.used = map(grown, (self.first, self.last, self.uses, self.used))
        made, held = ids[new], ids >= 0
        self.first[made] = self.last[made] = time[new]
        self.used[made] = 0
        here, when = ids[held], time[held]
        np.minimum.at(self.first, here, when)
        np.maximum.at(self.last, here, when)
        np.maximum.at(self.table.last_tick, here, when // TICK)
        return ids, new

    def hear_again(self, key: tuple[int, int], time: int) -> int:
        """A box that is held is heard, and spoke: its id; -1 where it is not held."""
        box = self.table.get(*key)
        if box < 0:
            return box
        self.last[box] = time  # fold time never goes back
        if self.table.settled[box]:
            self.table.last_tick[box] = time // TICK
        else:
            self.table.touch(np.array([box]), np.array([time // TICK]))
        return box

    def seen(self, ids: I64, tick: int) -> None:
        """They spoke in this tick, and so settle in their third second."""
        ids = ids[ids >= 0]
        self.table.touch(ids, np.full(len(ids), tick))

    def use(self, ids: I64, address: I64) -> list[tuple[int, int]]:
        """Boxes use addresses, in order: rows of the changes, and the address before."""
        changes = []
        open_ = (ids >= 0) & (self.used[ids] < USES)
        first = open_ & (self.used[ids] == 0)
        first[first] = _firsts(ids[first])
        self.uses[ids[first], 0], self.used[ids[first]] = address[first], 1
        for row in np.flatnonzero(open_ & ~first).tolist():
            box, used = int(ids[row]), int(self.used[ids[row]])
            if used < USES and address[row] not in self.uses[box, :used]:
                changes.append((row, int(self.uses[box, used - 1])))
                self.uses[box, used], self.used[box] = address[row], used + 1
        return changes

    def tell(self, box: int, names: Mapping[str, str], server: str) -> bool:
        """A record tells names of a box, and the DHCP server that it chose, '' = none; True when that is news."""
        told = self.told.get(box, _UNTOLD)
        if box < 0 or (server in ("", told.server) and names.items() <= told.names.items()):
            return False
        told = self.told.setdefault(box, _Told())
        told.names.update(names)
        told.server = server or told.server
        return True

    def establish(self, ids: I64, last: I64, tick: I64) -> None:
        """Something else vouches that these are no passing ones: heard last at ``last``, with signs until a tick."""
        np.maximum.at(self.last, ids, last)
        np.maximum.at(self.table.last_tick, ids, tick)
        self.table.settled[ids] = True

    def evict(self, tick: int, time: int) -> None:
        """At tick end."""
        gone = self.table.overdue(tick)
        if len(gone):
            for box in self.told.keys() & set(gone.tolist()):
                del self.told[box]
            self.table.free(gone, time)


def _firsts(ids: I64) -> npt.NDArray[np.bool_]:
    """Where each id comes for the first time."""
    firsts = np.zeros(len(ids), bool)
    firsts[np.unique(ids, return_index=True)[1]] = True
    return firsts
