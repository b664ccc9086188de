"""Level history of the one universe that is looked at: every change on a range of its DMX channels, by whom and when.

Fed row by row, for that universe only, so that it is exact to the frame and no cut of the input can matter. A frame that
E1.31 receivers throw away as late (6.7.2) is counted and left out. What it holds is bounded: the oldest changes go first.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from netwatch.decode.tables import E131, UNICAST
from netwatch.network.clock import NS
from netwatch.network.sequence import REJECT_ABOVE
from netwatch.network.slotwise import START_CODE, values
from netwatch.network.streams import PREVIEW, TERMINATED
from netwatch.numbers import Numbers

if TYPE_CHECKING:
    from netwatch.network.prepared import Prepared

BYTES = 16 << 20
"""All that a history may hold."""
CHANGE_BYTES = 320
"""A change without its levels, as Python holds it."""
_MOST_SOURCES, _MOST_TURNS = 64, 1_024
_TURNS_APART = int(2.5 * NS)
"""Turns further apart are not one alternation: E1.31 sources that stand still send 0.8 to 1 s apart (6.6.2)."""
_LEAST_TURNS = 3
"""A hand-over is one turn; there and back again is three."""


@dataclass(frozen=True, slots=True)
class Look:
    """A universe, and DMX channels ``first`` to ``last`` (from 1) of it."""

    protocol: int
    universe: int
    first: int = 1
    last: int = 512

    @property
    def width(self) -> int:
        return self.last - self.first + 1


@dataclass(frozen=True, slots=True)
class Change:
    """A frame that differs from its source's frame before."""

    source: int
    """Place in ``History.sources``."""
    at: int
    """ns."""
    n: int
    levels: bytes
    """Of the range; 0 behind the frame's slots."""
    slots: int
    """How many channels of the range the frame has."""
    priority: int
    options: int
    frame: int
    """Number of the frame among its source's, from 1."""
    before: int | None
    """ns of its source's frame before, None at the first."""
    begins: bool
    """The first frame, or the first after a farewell or a silence in which receivers gave the source up."""

    @property
    def ends(self) -> bool:
        """The source says that it ends (E1.31-2018 6.2.6)."""
        return bool(self.options & TERMINATED)


@dataclass(slots=True, eq=False)
class Source:
    """Who sends: one flow, so that copies to several receivers are apart."""

    segment: int
    id_hi: int
    id_lo: int
    mac: int
    src: int
    dst: int
    cast: int
    silence: int
    name: bytes = b""
    """64 raw octets, empty for Art-Net."""
    name_print: int = -1
    frames: int = 0
    late: int = 0
    cut: int = 0
    """Frames of which the capture does not hold all slots."""
    first: int = 0
    last: int = 0
    newest: Change | None = None
    sequence: int = -1
    slot_priority: bytes | None = None
    """Of the range (START code 0xDD)."""
    slot_priority_at: int = 0

    def counts(self, now: int) -> bool:
        """May it drive output now (E1.31-2018 6.2.6, 6.7.1)?"""
        return self.newest is not None and not self.newest.options & (PREVIEW | TERMINATED) and now - self.last <= self.silence

    def priorities(self, now: int) -> bytes | None:
        """Slot by slot, while they are sent."""
        return self.slot_priority if self.slot_priority is not None and now - self.slot_priority_at <= self.silence else None


@dataclass(slots=True)
class Turns:
    """Two sources' frames with different levels that come in turns."""

    sources: tuple[int, int]
    since: int
    until: int
    n: int
    times: int = 1
    differ: int = 0
    """Levels that differed, XORed, as one number of ``Look.width`` octets."""


@dataclass(slots=True)
class History:
    """Of one ``look``. Plain values; may be copied."""

    numbers: Numbers
    look: Look
    room: int = BYTES
    sources: list[Source] = field(default_factory=list)
    refused: int = 0
    """Frames of sources beyond the cap."""
    forgotten: int = 0
    changes: deque[Change] = field(init=False)
    """In order of n."""
    _places: dict[tuple[int, ...], int] = field(default_factory=dict)
    _turns: deque[Turns] = field(default_factory=lambda: deque(maxlen=_MOST_TURNS))
    _running: dict[tuple[int, int], Turns] = field(default_factory=dict)
    _newest: dict[int, int] = field(default_factory=dict)
    """The source of the newest frame by segment."""

    def __post_init__(self) -> None:
        self.changes = deque(maxlen=max(1, self.room // (CHANGE_BYTES + self.look.width)))

    def turns(self) -> list[Turns]:
        """Alternations, by their beginning."""
        found = [*self._turns, *(each for each in self._running.values() if each.times >= _LEAST_TURNS)]
        return sorted(found, key=lambda each: (each.since, each.n))

    def fold(self, it: Prepared, lo: int, hi: int) -> None:
        """Level rows among rows lo..hi of a batch."""
        levels, part = it.decoded.levels, it.flows.between(lo, hi)
        mine = (levels.universe[part] == self.look.universe) & (levels.protocol[part] == self.look.protocol)
        for at in (np.flatnonzero(mine) + part.start).tolist():
            self._row(it, at, int(levels.row[at]))

    def _row(self, it: Prepared, at: int, row: int) -> None:
        levels, time = it.decoded.levels, int(it.time[row])
        code = int(levels.start_code[at])
        if code not in (0, START_CODE):
            return
        place = self._source(it, at, row)
        if place < 0:
            return
        source = self.sources[place]
        if levels.at[at] < 0:
            source.cut += 1
        elif code == START_CODE:
            source.slot_priority = values(it.batch, it.decoded, at)[self.look.first - 1 : self.look.last].tobytes()
            source.slot_priority_at = time
        else:
            self._frame(it, at, place, time, it.n(row))

    def _source(self, it: Prepared, at: int, row: int) -> int:
        """The place of a row's source, -1 where there is no room."""
        levels, frames = it.decoded.levels, it.decoded.frames
        key = (
            int(frames.segment[row]), int(levels.id_hi[at]), int(levels.id_lo[at]), int(frames.mac[row]), int(frames.src[row]),
            int(frames.dst[row]), int(frames.cast[row]),
        )  # fmt: skip
        place = self._places.get(key, -1)
        if place < 0:
            if len(self.sources) >= _MOST_SOURCES:
                self.refused += 1
                return -1
            place = self._places[key] = len(self.sources)
            silent = self.numbers.source_silent_s if self.look.protocol == E131 else self.numbers.artnet_silent_s
            self.sources.append(Source(*key, silence=int(silent * NS)))
        source, name_print = self.sources[place], int(levels.name[at])
        if name_print != source.name_print and levels.name_at[at] >= 0:
            begin = int(levels.name_at[at])
            source.name, source.name_print = it.batch.data[begin : begin + 64].tobytes(), name_print
        return place

    def _frame(self, it: Prepared, at: int, place: int, time: int, n: int) -> None:
        """A frame with levels (START code 0)."""
        source, levels, look = self.sources[place], it.decoded.levels, self.look
        begins = source.newest is None or time - source.last > source.silence
        number = int(levels.sequence[at])
        if not begins and look.protocol == E131 and REJECT_ABOVE < (number - source.sequence + 128 & 255) - 128 < 0:
            source.late += 1
            return
        priority, options, was = int(levels.priority[at]), int(levels.options[at]), source.newest
        shown, slots = self._levels(it, at)
        if was is not None and options & TERMINATED:
            # A receiver ignores what else stands in a farewell (6.2.6).
            shown, slots, priority = was.levels, was.slots, was.priority
        begins |= was is not None and was.ends and not options & TERMINATED
        source.frames += 1
        if begins or was is None or (was.levels, was.slots, was.priority, was.options) != (shown, slots, priority, options):
            before = None if was is None else source.last
            source.newest = Change(place, time, n, shown, slots, priority, options, source.frames, before, begins)
            if len(self.changes) == self.changes.maxlen:
                self.forgotten += 1
            self.changes.append(source.newest)
        if was is None:
            source.first = time
        source.last, source.sequence = time, number
        self._turn(place, time, n)

    def _levels(self, it: Prepared, at: int) -> tuple[bytes, int]:
        """Of the range: levels, and how many of its channels the frame has."""
        look, begin = self.look, int(it.decoded.levels.at[at])
        slots = min(max(int(it.decoded.levels.slots[at]) - look.first + 1, 0), look.width)
        place = begin + look.first - 1
        return it.batch.data[place : place + slots].tobytes().ljust(look.width, b"\0"), slots

    # ---- two sources in turns ----

    def _turn(self, place: int, time: int, n: int) -> None:
        """Does another source's frame with other levels stand just before this one?"""
        source = self.sources[place]
        if not source.counts(time):
            return
        other = self._newest.get(source.segment, place)
        self._newest[source.segment] = place
        if other == place or not self.sources[other].counts(time):
            return
        differ = self._contested(source, self.sources[other], time)
        if not differ:
            return
        pair = (min(place, other), max(place, other))
        running = self._running.get(pair)
        if running is None or time - running.until > _TURNS_APART:
            if running is not None and running.times >= _LEAST_TURNS:
                self._turns.append(running)
            self._running[pair] = Turns(pair, time, time, n, 1, differ)
        else:
            running.until, running.times, running.differ = time, running.times + 1, running.differ | differ

    def _contested(self, one: Source, other: Source, now: int) -> int:
        """The levels XORed where both have a claim to the same receiver's output."""
        a, b = one.newest, other.newest
        if a is None or b is None or (one.id_hi, one.id_lo) == (other.id_hi, other.id_lo):
            return 0
        if one.cast == other.cast == UNICAST and one.dst != other.dst:
            return 0
        differ = int.from_bytes(a.levels, "big") ^ int.from_bytes(b.levels, "big")
        if not differ:
            return 0
        slotwise = [each.priorities(now) for each in (one, other)]
        if slotwise == [None, None]:
            here = [each for each in self.sources if each.segment == one.segment and each.counts(now)]
            top = max(each.newest.priority for each in here if each.newest is not None)
            return differ if a.priority == b.priority == top else 0
        # 0 for a slot = not controlled; a universe's priority counts as 1 at least beside them (public merge libraries).
        first, second = (
            bytes([max(change.priority, 1)]) * self.look.width if each is None else each
            for change, each in ((a, slotwise[0]), (b, slotwise[1]))
        )
        mask = bytes(255 if x == y > 0 else 0 for x, y in zip(first, second, strict=True))
        return differ & int.from_bytes(mask, "big")
