"""What goes round and who floods: judged at each tick's end, as far as there was much of either.

A loop passes each frame that goes to everybody on for ever. Light tells it by its own numbers: one that comes again and again
over some time, in a flow that is faster than any DMX line. All else tells it by its octets (``floods.py``). A mirror port that
copies several ports gives all copies of a frame at once, so that copies count only where they are some time apart.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import ARTNET, UNICAST, Decoded
from netwatch.network.clock import NS, TICK
from netwatch.network.floods import Counted, FloodedTick, Floods
from netwatch.network.order import begins_of
from netwatch.network.streams import Streams
from netwatch.network.tail import Again
from netwatch.numbers import Numbers
from netwatch.packets.batch import DIRECTION_IN, PacketBatch

I64 = npt.NDArray[np.int64]

_IN_A_ROW = 2
"""Ticks with copies, where none of them proves it alone."""
_FEW = 4
_MUCH = 10
"""So many times the copies, where a frame tells by nothing that it is not new: no number, one sender alone."""
_A_SECOND = NS // TICK


@dataclass(slots=True)
class Circle:
    """Frames that go round on a segment."""

    since: int
    """ns."""
    last: int = 0
    """End of the newest tick with any."""
    ticks: int = 0
    """In a row."""
    certain: bool = False
    ours: bool = False
    """Our own frames came back."""
    frames: int = 0
    """Different frames that went round in the newest tick."""
    copies: int = 0
    """Packets of the newest tick that were copies."""
    senders: dict[int, None] = field(default_factory=dict)
    """Whose frames: the first few."""
    numbers: tuple[int, ...] = ()

    @property
    def proven(self) -> bool:
        """By one tick that proves it alone, or by several in a row."""
        return self.certain or self.ticks >= _IN_A_ROW


@dataclass(slots=True)
class Storm:
    """One box that sends to everybody without end."""

    since: int
    last: int
    loud: int | None = None
    """ns since which it is loud."""
    packets: int = 0
    """In the newest tick."""
    light: bool = False
    """Most of it is light."""
    numbers: tuple[int, ...] = ()


@dataclass(slots=True)
class _Found:
    """What goes round in one tick on one segment."""

    since: int
    frames: int = 0
    copies: int = 0
    certain: bool = False
    ours: bool = False
    senders: dict[int, None] = field(default_factory=dict)
    numbers: list[int] = field(default_factory=list)

    def add(self, since: int, frames: int, copies: int, senders: Iterable[int], numbers: Iterable[int]) -> None:
        self.since = min(self.since, since)
        self.frames, self.copies = self.frames + frames, self.copies + copies
        self.senders |= dict.fromkeys(senders)
        self.numbers += numbers


class Circles:
    """By segment what goes round, by sender who floods."""

    def __init__(self, numbers: Numbers) -> None:
        self.numbers = numbers
        self.floods = Floods(int(numbers.loop_copies), int(numbers.storm_pps * TICK // NS))
        self.circles: dict[int, Circle] = {}
        self.went_round: dict[int, int] = {}
        """Segment to ns at which a loop was last proven."""
        self.storms: dict[tuple[int, int], Storm] = {}
        """By (segment, speaker)."""
        self._back: dict[int, dict[int, list[int]]] = {}
        """Tick to own frames that came back, by segment: (how many, packet numbers)."""
        self._sent: dict[tuple[int, int], int] = {}
        """(tick, segment) to own frames that went out."""

    # ---- our own frames ----

    def look_for_ours(self, batch: PacketBatch, decoded: Decoded, tick: I64) -> set[int]:
        """Ticks in which frames with our own address as their source came in."""
        alone: set[int] = set()
        for index, port in enumerate(batch.ports):
            if not port.macs or port.kind == "wifi":
                continue  # an access point sends our frames to groups back to all
            macs = np.array([int.from_bytes(mac, "big") for mac in port.macs], np.uint64)
            ours = np.flatnonzero((batch.port == index) & (batch.direction != 0) & np.isin(decoded.frames.mac, macs))
            came = batch.direction[ours] == DIRECTION_IN
            for at, segment, rows in _cells(tick, decoded, ours[came]):
                seen = self._back.setdefault(at, {}).setdefault(segment, [0])
                seen[0] += len(rows)
                seen += (batch.first + rows[: max(0, _FEW - len(seen))]).tolist()
                alone.add(at)
            sent = ours[~came]
            near = sorted({*self._back, int(tick[-1])})
            next_back = np.array(near)[np.minimum(np.searchsorted(near, tick[sent]), len(near) - 1)]
            for at, segment, rows in _cells(tick, decoded, sent[next_back - tick[sent] < _A_SECOND]):
                self._sent[at, segment] = self._sent.get((at, segment), 0) + len(rows)
        return alone

    def _ours(self, tick: int, found: dict[int, _Found]) -> None:
        """More frames of ours came back within a second than a mirror of all ports would give back."""
        for segment in self._back.get(tick, {}):
            ticks = range(tick - _A_SECOND + 1, tick + 1)
            back = {at: self._back[at][segment] for at in ticks if segment in self._back.get(at, {})}
            count, sent = sum(each[0] for each in back.values()), sum(self._sent.get((at, segment), 0) for at in ticks)
            if count >= self.numbers.loop_own and count > 2 * sent:
                begun = min(back) * TICK
                mine = found.setdefault(segment, _Found(begun))
                mine.add(begun, 0, back[tick][0], (), (n for each in back.values() for n in each[1:]))
                mine.certain = mine.ours = True

    def _forget(self, tick: int) -> None:
        """What is older than a second."""
        self._back = {at: each for at, each in self._back.items() if at > tick - _A_SECOND}
        if len(self._sent) > 8:
            self._sent = {key: each for key, each in self._sent.items() if key[0] > tick - _A_SECOND}

    # ---- a tick's end ----

    def waits(self, tick: int, streams: Streams) -> bool:
        """Is there so much in a tick that is still open that it must be judged alone, whatever follows?"""
        return tick in self._back or self.floods.much(tick) or streams.tail.much(tick, int(self.numbers.loop_light))

    def close(self, tick: int, streams: Streams) -> bool:
        """Judge a tick; True when something goes round or floods, or no longer does."""
        flooded, light = self.floods.close(tick), streams.tail.close(tick, int(self.numbers.loop_light))
        before = bool(self.circles or self.storms)
        if flooded is None and light is None and not self._back and not before:
            self._forget(tick)
            return False
        found: dict[int, _Found] = {}
        crowd = np.zeros(streams.table.size, np.int64)
        if light is not None:
            crowd, again = light.rows(streams.table.size), light.again
            self._light(streams, crowd, again, found)
            crowd -= np.bincount(again.flow, minlength=len(crowd))
        if flooded is not None and flooded.contents is not None:
            self._others(tick, streams, flooded.contents, found)
        self._ours(tick, found)
        self._forget(tick)
        self._settle((tick + 1) * TICK, found)
        self._storms((tick + 1) * TICK, flooded, streams, crowd)
        return before or bool(self.circles or self.storms)

    def _light(self, streams: Streams, crowd: I64, again: Again, found: dict[int, _Found]) -> None:
        """Flows whose numbers go round."""
        numbers, flooded = self.numbers, streams.cast[: len(crowd)] != UNICAST
        uncounted = (streams.protocol[: len(crowd)] == ARTNET) & (streams.sequence[: len(crowd)] == 0)
        for flow in np.flatnonzero(flooded & uncounted & (crowd >= numbers.loop_copies * _MUCH)).tolist():
            mine = found.setdefault(int(streams.segment[flow]), _Found(int(streams.last[flow])))
            mine.add(int(streams.last[flow]), 1, int(crowd[flow]), [int(streams.mac[flow])], [int(streams.last_n[flow])])
        total = np.bincount(again.flow, minlength=len(crowd))
        for flow in np.flatnonzero(flooded & (total >= numbers.loop_light)).tolist():
            here = again.flow == flow
            self._numbers(streams, flow, again.cell[here], again.time[here], again.n[here], found)

    def _numbers(self, streams: Streams, flow: int, cell: I64, time: I64, n: I64, found: dict[int, _Found]) -> None:
        """The numbers of one flow that came again, in order of time."""
        numbers = self.numbers
        order = np.argsort(cell, kind="stable")
        cell, time, n = cell[order], time[order], n[order]
        begins = begins_of(cell)
        ends = np.append(begins[1:], len(cell)) - 1
        copies = ends - begins + 1
        round_ = np.flatnonzero((copies > 1) & (time[ends] - time[begins] >= int(numbers.loop_apart_s * NS)))
        most = int(copies[round_].max(initial=0))
        if len(round_) < 2 and most < numbers.loop_copies * _MUCH:
            return  # a number that stands still, or that its sender uses twice
        first = int(time[begins[round_]].min())
        mine = found.setdefault(int(streams.segment[flow]), _Found(first))
        mine.add(first, len(round_), len(cell), [int(streams.mac[flow])], n[ends[round_[:_FEW]]].tolist())
        mine.certain |= most >= numbers.loop_copies

    def _others(self, tick: int, streams: Streams, seen: Counted, found: dict[int, _Found]) -> None:
        """Frames without light that go round."""
        numbers = self.numbers
        apart = seen.last - seen.first >= int(numbers.loop_apart_s * NS)
        hot = np.flatnonzero((seen.count >= numbers.loop_copies) & apart)
        for segment in np.unique(seen.segment[hot]).tolist():
            here = hot[seen.segment[hot] == segment]
            senders, count = np.unique(seen.speaker[here]), int(seen.count[here].sum())
            few = count < numbers.loop_copies * _MUCH
            alone = len(senders) == 1 and segment not in found
            if alone and (few or self._others_come_once(tick, streams, seen, segment, senders[0])):
                continue  # a box that says the same thing without end
            mine = found.setdefault(segment, _Found(int(seen.first[here].min())))
            mine.add(int(seen.first[here].min()), len(here), count, senders[:_FEW].tolist(), seen.n[here[:_FEW]].tolist())
            mine.certain |= len(mine.senders) > 1

    @staticmethod
    def _others_come_once(tick: int, streams: Streams, seen: Counted, segment: int, sender: np.uint64) -> bool:
        """Frames of other boxes to everybody are heard, and do not go round."""
        size = streams.table.size
        light = streams.table.used[:size] & (streams.segment[:size] == segment) & (streams.cast[:size] != UNICAST)
        if (light & (streams.last[:size] >= tick * TICK) & (streams.mac[:size] != int(sender))).any():
            return True
        return bool(((seen.count == 1) & (seen.segment == segment) & (seen.speaker != sender)).any())

    def _settle(self, now: int, found: dict[int, _Found]) -> None:
        for segment, mine in found.items():
            circle = self.circles.setdefault(segment, Circle(mine.since))
            circle.ticks = circle.ticks + 1 if now - circle.last <= TICK else 1
            circle.last, circle.frames, circle.copies = now, mine.frames, mine.copies
            circle.certain, circle.ours = circle.certain or mine.certain, circle.ours or mine.ours
            circle.senders = dict.fromkeys([*circle.senders, *mine.senders][: 2 * _FEW])
            circle.numbers = tuple(sorted({*circle.numbers[:2], *sorted(mine.numbers)[-_FEW:]}))
            if circle.proven:
                self.went_round[segment] = now
        for segment in [each for each, circle in self.circles.items() if now - circle.last > NS]:
            del self.circles[segment]

    def _storms(self, now: int, flooded: FloodedTick | None, streams: Streams, crowd: I64) -> None:
        """Boxes that sent more than so many frames to everybody in this tick."""
        least, loud = self.numbers.storm_pps * TICK // NS, self.numbers.storm_now_pps * TICK // NS
        sent: dict[tuple[int, int], tuple[int, int, bool]] = {}
        if flooded is not None and flooded.speakers is not None:
            seen = flooded.speakers
            for at in np.flatnonzero(seen.count >= least).tolist():
                sent[int(seen.segment[at]), int(seen.speaker[at])] = int(seen.count[at]), int(seen.n[at]), False
        for flow in np.flatnonzero(crowd >= least).tolist():
            if streams.cast[flow] != UNICAST:
                key = int(streams.segment[flow]), int(streams.senders.table.keys[streams.alive[flow], 0])
                count, n, _ = sent.get(key, (0, int(streams.last_n[flow]), True))
                sent[key] = count + int(crowd[flow]), n, count == 0 or sent[key][2]
        for key, (count, n, light) in sent.items():
            storm = self.storms.setdefault(key, Storm(now - TICK, now))
            storm.loud = (now - TICK if storm.loud is None else storm.loud) if count >= loud else None
            storm.last, storm.packets, storm.light = now, count, light
            storm.numbers = (*storm.numbers[:2], n)
        for key in [each for each, storm in self.storms.items() if now - storm.last > TICK]:
            del self.storms[key]


def _cells(tick: I64, decoded: Decoded, rows: I64) -> Iterable[tuple[int, int, I64]]:
    """(tick, segment, its rows)."""
    if not len(rows):
        return
    segment = decoded.frames.segment[rows]
    for at in np.unique(tick[rows]).tolist():
        for each in np.unique(segment[tick[rows] == at]).tolist():
            yield at, each, rows[(tick[rows] == at) & (segment == each)]
