"""Wi-Fi as this laptop has it: which access point it is at, and pauses in all light that came over the air."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from netwatch.network.clock import NS

if TYPE_CHECKING:
    from netwatch.network.prepared import Prepared

I64 = npt.NDArray[np.int64]

_REMEMBERED = 20 * NS
_PAUSES, _CHANGES = 1_024, 16


@dataclass(frozen=True, slots=True)
class Pause:
    """No light at all came for so long."""

    begin: int
    end: int
    """ns."""
    n: int
    """The packet that ended it."""

    @property
    def length(self) -> int:
        """ns."""
        return self.end - self.begin


@dataclass(slots=True)
class Change:
    """Another access point than a mark before."""

    since: int
    """ns of the mark that still told the old one."""
    at: int
    before: str
    now: str
    worst: int
    """ns: the longest pause of some seconds until then."""
    pause: Pause | None = None
    """The longest one near it."""

    def see(self, pause: Pause, near: int) -> None:
        """A pause; ``near`` = so long before or behind the change it may lie."""
        close = pause.end >= self.since - near and pause.begin <= self.at + near
        if close and (self.pause is None or pause.length > self.pause.length):
            self.pause = pause


@dataclass(slots=True)
class Cell:
    """One Wi-Fi port."""

    cell: str = ""
    told: int = 0
    """ns of the newest mark with one."""
    changes: list[Change] = field(default_factory=list)
    """The newest 16."""
    pauses: deque[Pause] = field(default_factory=lambda: deque(maxlen=_PAUSES))
    light: int | None = None
    """ns of the newest light."""


class Cells:
    """By port."""

    def __init__(self, least_ns: int, near_ns: int) -> None:
        """``least_ns`` = shortest pause that is noted; ``near_ns`` = so far from a change its own pause may lie."""
        self.ports: dict[int, Cell] = {}
        self._least, self._near = least_ns, near_ns

    def fold(self, it: Prepared, lo: int, hi: int) -> None:
        """Light in rows lo..hi of a batch."""
        time, first = it.time, it.batch.first
        for index, each in enumerate(it.batch.ports):
            if each.kind != "wifi":
                continue
            row = it.flows.row[it.flows.between(lo, hi)]
            mine = row[it.batch.port[row] == index]
            if not len(mine):
                continue
            cell = self.ports.setdefault(index, Cell())
            when = time[mine]
            before = np.append(when[0] if cell.light is None else cell.light, when[:-1])
            for at in np.flatnonzero(when - before >= self._least).tolist():
                pause = Pause(int(before[at]), int(when[at]), first + int(mine[at]))
                cell.pauses.append(pause)
                for change in cell.changes:
                    change.see(pause, self._near)
            cell.light = int(when[-1])

    def tell(self, port: int, name: str, time: int) -> None:
        """A mark tells the access point, '' = none."""
        if not name:
            return
        cell = self.ports.setdefault(port, Cell())
        if cell.cell and name != cell.cell:
            calm = [pause.length for pause in cell.pauses if time - _REMEMBERED < pause.end <= cell.told - self._near]
            change = Change(cell.told, time, cell.cell, name, max(calm, default=0))
            for pause in cell.pauses:
                change.see(pause, self._near)
            cell.changes.append(change)
            del cell.changes[:-_CHANGES]
        cell.cell, cell.told = name, time
