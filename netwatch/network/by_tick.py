"""Light of one batch, sorted and compared once for all its ticks that are folded alone.

Where each tick has news, a few hundred rows are folded at a time, and what is done once for each tick costs more than what is
done for each row. So what the rows themselves decide is found here for the whole batch, and a tick takes its part of it. It
holds while no flow comes or goes, all headers say what their flows said last, and nobody comes back from a silence; everything
else is folded the ordinary way, to the same answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from netwatch.network import sequence
from netwatch.network.figures import speaker
from netwatch.network.order import begins_of
from netwatch.network.prints import prints_of
from netwatch.network.slots import SlotRows

if TYPE_CHECKING:
    from netwatch.network.prepared import Prepared
    from netwatch.network.streams import Streams

I64 = npt.NDArray[np.int64]
U8 = npt.NDArray[np.uint8]
U32 = npt.NDArray[np.uint32]
U64 = npt.NDArray[np.uint64]
Bool = npt.NDArray[np.bool_]

LEAST_TICKS = 4
"""With news in a batch: for fewer it is not worth it."""
STEADY = ("options", "priority", "sync", "slots")
"""What the headers of a flow say again and again."""


@dataclass(frozen=True, slots=True, eq=False)
class TickRows:
    """Light of one tick: rows sorted by flow, then by time, and what they come to for each flow."""

    flow: I64
    time: I64
    n: I64
    gap: I64
    """ns since the flow's packet before each."""
    number: U8
    """Of the sequence."""
    marks: tuple[I64, U32]
    """``sequence.cells``."""
    frames: SlotRows
    compared: tuple[I64, I64, I64, U64]
    """(flow, place, ns, print) for ``Prints``: of frames that differ from the one before, in flows that are compared."""
    ids: I64
    """[flows of this tick], so are the next."""
    begins: I64
    closes: I64
    changes: I64
    """Frames that differ."""
    changed: I64
    """ns of the newest that does."""
    plain: bool
    """From row to row of a flow its number rises by one."""
    heard: tuple[I64, I64]
    """Column of ``Figures.alive`` and ns of each other packet whose sender sends light."""

    @property
    def packets(self) -> I64:
        """Of each flow."""
        return self.closes - self.begins + 1


class ByTick:
    """Rows of a batch from one of its ticks on."""

    def __init__(self, streams: Streams, it: Prepared, a: int, order: I64, begins: I64, gap: I64) -> None:
        """``order`` sorts the rows of light from place ``a`` on by flow, then by time.

        ``begins`` = where each flow's begin, ``gap`` = ns before each row.
        """
        row = it.flows.row[a:][order]
        flow, tick, levels = it.flows.id[a:][order], it.tick[row], it.decoded.levels
        frames = SlotRows(it.batch.data, levels.at[a:][order], levels.slots[a:][order])
        differs = frames.differ(begins, streams.levels, streams.slots, flow[begins])
        number = levels.sequence[a:][order]
        on = np.append(True, sequence.one_on(streams, flow, number))
        # The same rows tick by tick.
        tick = tick - tick.min()
        place = np.argsort(tick.astype(np.uint16), kind="stable")
        row, tick = row[place], tick[place]
        self._flow, self._number, self._gap, differs = flow[place], number[place], gap[place], differs[place]
        self._time, self._n = it.time[row], it.batch.first + row
        self._frames, self._marks = frames.some(place), sequence.cells(self._flow, self._time, self._number)
        self._told = np.flatnonzero(differs & streams.compared[self._flow])
        told = self._flow[self._told]
        if len(told):
            streams.prints.fit(streams.table.size)
        self._prints = told, streams.prints.places(told), self._time[self._told], prints_of(self._frames.at(self._told))
        turns = (self._flow[1:] != self._flow[:-1]) | (tick[1:] != tick[:-1])
        self._begins = np.append(0, np.flatnonzero(turns) + 1)
        on = on[place]
        on[self._begins] = True
        self._plain = np.logical_and.reduceat(on, self._begins)
        self._changes = np.add.reduceat(differs, self._begins, dtype=np.int64)
        self._changed = np.maximum.reduceat(np.where(differs, self._time, 0), self._begins)
        self._edges = {a, a + len(tick), *(np.flatnonzero(tick[1:] != tick[:-1]) + a + 1).tolist()}
        """Places between ticks."""
        self._a = a
        self._others(streams, it, int(it.flows.row[a]))

    def _others(self, streams: Streams, it: Prepared, lo: int) -> None:
        """Packets from row ``lo`` on that carry no light, of boxes that send some."""
        frames, dark = it.decoded.frames, np.ones(it.batch.rows, bool)
        dark[:lo] = dark[it.flows.row] = False
        row = np.flatnonzero(dark)
        speakers = speaker(frames.mac[row], frames.src[row].astype(np.uint64))
        column = streams.senders.table.find((speakers, frames.segment[row].astype(np.uint64)))
        known = column >= 0
        self._row, self._column = row[known], column[known]
        self._heard = it.time[self._row]

    def part(self, part: slice, lo: int, hi: int) -> TickRows | None:
        """Rows lo..hi of the batch; ``part`` = those of light, which are some. None where they are less than a tick."""
        if not {part.start, part.stop} <= self._edges:
            return None
        rows = slice(part.start - self._a, part.stop - self._a)
        a, b = self._begins.searchsorted((rows.start, rows.stop)).tolist()
        begins = self._begins[a:b] - rows.start
        closes = np.append(begins[1:], rows.stop - rows.start) - 1
        c, d = self._row.searchsorted((lo, hi)).tolist()
        e, f = self._told.searchsorted((rows.start, rows.stop)).tolist()
        flow, (cell, when), (told, place, time, prints) = self._flow[rows], self._marks, self._prints
        return TickRows(
            flow, self._time[rows], self._n[rows], self._gap[rows], self._number[rows], (cell[rows], when[rows]),
            self._frames.some(rows), (told[e:f], place[e:f], time[e:f], prints[e:f]), flow[begins], begins, closes,
            self._changes[a:b], self._changed[a:b], bool(self._plain[a:b].all()), (self._column[c:d], self._heard[c:d]),
        )  # fmt: skip


def by_tick(streams: Streams, it: Prepared, tick: int, lo: int) -> ByTick | None:
    """Rows from ``lo``, where a tick begins, to the end of a batch; None where they are not as plain as that, or not worth it."""
    if sum(each >= tick for each in it.slow) < LEAST_TICKS:
        return None
    a, levels = it.flows.between(lo, it.batch.rows).start, it.decoded.levels
    flow = it.flows.id[a:]
    if not len(flow) or int(flow.min()) < 0 or int(it.tick[-1]) - tick >= 1 << 16:
        return None
    if levels.start_code[a:].any() or levels.faults[a:].any() or int(levels.at[a:].min()) < 0 or streams.mixed[flow].any():
        return None
    if not all(np.array_equal(getattr(levels, name)[a:], getattr(streams, name)[flow]) for name in STEADY):
        return None
    order = np.argsort(flow.astype(np.uint16) if streams.table.size < 65_536 else flow, kind="stable")
    flow, time = flow[order], it.time[it.flows.row[a:][order]]
    gap = np.empty_like(time)
    np.subtract(time[1:], time[:-1], out=gap[1:])
    begins = begins_of(flow)
    gap[begins] = time[begins] - streams.last[flow[begins]]
    if (gap > streams.silence[flow]).any():
        return None
    return ByTick(streams, it, a, order, begins, gap)
