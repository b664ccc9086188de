"""The fold clock: a running maximum of capture time, carried across items; holes and clocks set back (contracts 2)."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from netwatch.numbers import Numbers
from netwatch.packets.batch import EARLIEST, LATEST, NEXT_FILE, Mark, PacketBatch, rising

NS = 1_000_000_000
TICK = 250_000_000
BUCKET_TICKS = 40
"""Figures over time are kept in buckets of 10 s on the clock's own grid, so that no cut of the input can move them."""
SET_BACK_ROWS = 64
LONG_AGO, FOR_EVER = -(1 << 60), (7 << 60) - 1
"""Before and after every usable time; the difference of any two times fits in int64."""


def grid(tick: int) -> bool:
    """Does this tick end on the 10 s grid?"""
    return (tick + 1) % BUCKET_TICKS == 0


def ticks_of(time: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """The tick of each of some fold times, which rise; their edges are looked for where there are few: a division is slow."""
    first, last = (int(time[at]) // TICK for at in (0, -1))
    if last - first > len(time) // 32:
        return time // TICK
    edges = time.searchsorted(np.arange(first + 1, last + 1) * TICK)
    return np.repeat(np.arange(first, last + 1), np.diff(edges, prepend=0, append=len(time)))


@dataclass(frozen=True, slots=True)
class ClockEvent:
    """``what`` is 'hole', 'clock-set-back' or 'begin' (the first usable time); it holds from the item at fold time ``at``."""

    what: str
    at: int
    before: int
    """Fold time just before."""
    row: int
    """Row of the batch; 0 for a mark."""


@dataclass(slots=True)
class FoldClock:
    """Turns item times into fold times (int64 ns)."""

    numbers: Numbers
    now: int | None = None
    offset: int = 0
    behind: int = 0
    """Items more than ``behind_s`` behind, folded at the clock."""
    unusable: int = 0
    """Times outside 1990 to 2200."""
    _behind_run: dict[int, int] = field(default_factory=dict)
    _begun: bool = False
    """A usable time was seen."""
    _last_mark: int | None = None
    _mark_gap: int | None = None

    def batch(self, batch: PacketBatch) -> tuple[npt.NDArray[np.int64], list[ClockEvent]]:
        """Fold time of each row, and what happened to the clock."""
        times = batch.time + self.offset if self.offset else batch.time
        if self._plain(batch.time, times):
            folded = rising(times)
            if self.now is not None and folded[0] < self.now:
                folded = np.maximum(folded, self.now)
            for port in set(batch.port.tolist()) if self._behind_run else ():
                self._behind_run.pop(port, None)
            self.now, self._begun = int(folded[-1]), True
            return folded, []
        return self._each(batch)

    def mark(self, mark: Mark) -> tuple[int, list[ClockEvent]]:
        """Fold time of a mark."""
        events: list[ClockEvent] = []
        if mark.facts and NEXT_FILE in mark.facts:
            return self._one(mark.time, mark.port, 0, events, int(self.numbers.hole_files_s * NS)), events
        folded = self._one(mark.time, mark.port, 0, events)
        if self._last_mark is not None:
            self._mark_gap = folded - self._last_mark
        self._last_mark = folded
        return folded, events

    def _plain(self, raw: npt.NDArray[np.int64], times: npt.NDArray[np.int64]) -> bool:
        if int(raw.min()) < EARLIEST or int(raw.max()) > LATEST or (self.now is not None and not self._begun):
            return False
        folded = rising(times)
        before = folded[0] if self.now is None else max(self.now, 0)
        if (folded is not times and int((folded - times).max()) > self._behind_ns) or int(before - times.min()) > self._behind_ns:
            return False
        steps = int(np.diff(folded).max(initial=0))
        return max(steps, int(folded[0] - before)) <= self._hole_ns(int(folded[-1]))

    def _each(self, batch: PacketBatch) -> tuple[npt.NDArray[np.int64], list[ClockEvent]]:
        events: list[ClockEvent] = []
        ports = batch.port.tolist()
        folded = [self._one(time, ports[row], row, events) for row, time in enumerate(batch.time.tolist())]
        return np.array(folded, np.int64), events

    def _one(self, time: int, port: int, row: int, events: list[ClockEvent], hole: int | None = None) -> int:
        if not EARLIEST <= time <= LATEST:
            self.unusable += 1
            self.now = EARLIEST if self.now is None else self.now
            return self.now
        if self.now is None or not self._begun:
            if self.now is not None:
                events.append(ClockEvent("begin", time, self.now, row))
            self.now, self._begun = time, True
            return time
        time += self.offset
        if time < self.now - self._behind_ns:
            self.behind += 1
            run = self._behind_run.get(port, 0) + 1
            self._behind_run[port] = run
            if run < SET_BACK_ROWS:
                return self.now
            events.append(ClockEvent("clock-set-back", self.now, time, row))
            self.offset += self.now - time
            self._behind_run.clear()
            return self.now
        self._behind_run.pop(port, None)
        if time - self.now > (self._hole_ns(time) if hole is None else hole):
            events.append(ClockEvent("hole", time, self.now, row))
        self.now = max(self.now, time)
        return self.now

    @property
    def _behind_ns(self) -> int:
        return int(self.numbers.behind_s * NS)

    def _hole_ns(self, time: int) -> int:
        """Marks that came at least every 2 s make a much shorter silence a hole."""
        marked = self._mark_gap is not None and self._mark_gap <= 2 * NS
        return int((self.numbers.hole_marked_s if marked else self.numbers.hole_s) * NS)
