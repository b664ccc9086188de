"""How each stream ran over the whole session: packets and losses in steps of equal length, for drawing and for the journal.

Steps begin as buckets of 10 s on the clock's own grid. When there are too many, pairs become one, so that a week takes no more
memory than an hour.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netwatch.alerts.scene import protocol_name
from netwatch.decode.tables import E131
from netwatch.decode.text import address_text
from netwatch.network.clock import BUCKET_TICKS, TICK
from netwatch.network.network import Network, vlan

I64 = npt.NDArray[np.int64]

BUCKET = BUCKET_TICKS * TICK
"""ns."""
MOST_STEPS, MOST_STREAMS = 720, 1_024
"""Two hours in steps of 10 s, twelve in steps of a minute; as many pixels as a page is wide. Common practice, no source."""
_MINUTE = 6
"""Buckets."""


@dataclass(frozen=True, slots=True)
class Run:
    """One stream in each step."""

    interface: str
    vlan: int | None
    protocol: str
    universe: int
    source: str
    packets: tuple[int, ...]
    lost: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class CourseView:
    """All streams, by first appearance. ``first`` = ns at which the first step begins, ``step`` = its length in ns."""

    first: int
    step: int
    runs: tuple[Run, ...]
    left_out: int = 0
    """Streams beyond the cap."""


@dataclass(frozen=True, slots=True)
class Minute:
    """What all streams did in one minute of the clock."""

    at: int
    """ns at which it begins."""
    rows: tuple[tuple[tuple[str, int | None, str, int, str], tuple[int, ...], int], ...]
    """((interface, VLAN, protocol, universe, source), packets in each 10 s, lost in all)."""


@dataclass(frozen=True, slots=True)
class _Step:
    number: int
    """Steps since 1970."""
    stream: I64
    packets: I64
    lost: I64


Key = tuple[int, int, int, int, int]
"""Segment, protocol, both halves of the source's identity, universe."""


class Course:
    """Grows by a step each 10 s, until pairs are merged."""

    def __init__(self) -> None:
        self.length = 1
        """Buckets of a step."""
        self.steps: list[_Step] = []
        self.streams: dict[Key, int] = {}
        self.left_out: set[Key] = set()
        self.minutes: list[Minute] | None = None
        """Whole minutes, for whoever writes them down and takes them away; None = nobody does."""
        self._minute: list[_Step] = []

    def close_bucket(self, network: Network, tick: int) -> None:
        """``tick`` is the last one of a bucket that the streams have just closed."""
        number = tick // BUCKET_TICKS
        bucket = self._bucket(network, number, network.streams.buckets.full[-1])
        if len(bucket.stream) or self.steps:
            self._add(bucket)
        self._end_minute(network, number)
        self._minute.append(bucket)
        self._end_minute(network, number + 1)

    def view(self, network: Network, now: int) -> CourseView | None:
        """As a report draws it, up to ``now`` (ns); None before the first light."""
        until_now = copy(self)
        until_now.steps = list(self.steps)
        bucket = self._open(network, now)
        if len(bucket.stream):
            until_now._add(bucket)
        return until_now._drawn(network)

    def open_minute(self, network: Network, now: int) -> Minute:
        """The minute that is not over yet."""
        bucket = self._open(network, now)
        begun = [each for each in self._minute if each.number // _MINUTE == bucket.number // _MINUTE]
        return self._told(network, [*begun, bucket])

    def end(self, network: Network, now: int) -> None:
        """The input ended: a minute that a hole in time kept open is over."""
        self._end_minute(network, now // BUCKET)

    def _end_minute(self, network: Network, number: int) -> None:
        """Buckets from ``number`` on belong to another minute, perhaps."""
        if self._minute and self._minute[0].number // _MINUTE != number // _MINUTE:
            if self.minutes is not None:
                self.minutes.append(self._told(network, self._minute))
            self._minute = []

    def _drawn(self, network: Network) -> CourseView | None:
        if not self.steps:
            return None
        first = self.steps[0].number
        width = self.steps[-1].number - first + 1
        packets, lost = (np.zeros((len(self.streams), width), np.int64) for _ in range(2))
        for step in self.steps:
            packets[step.stream, step.number - first] = step.packets
            lost[step.stream, step.number - first] = step.lost
        length = self.length * BUCKET
        runs = (
            Run(*_place(network, key), tuple(packets[at].tolist()), tuple(lost[at].tolist())) for key, at in self.streams.items()
        )
        return CourseView(first * length, length, tuple(runs), len(self.left_out))

    def _open(self, network: Network, now: int) -> _Step:
        return self._bucket(network, now // BUCKET, network.streams.buckets.open(network.streams.counts()))

    def _bucket(self, network: Network, number: int, figures: Mapping[str, I64]) -> _Step:
        packets: dict[int, int] = {}
        lost: dict[int, tuple[int, int]] = {}
        for flow in np.flatnonzero(figures["packets"]).tolist():
            at = self._stream(_key(network, flow))
            if at is None:
                continue
            count = int(figures["packets"][flow])
            packets[at] = packets.get(at, 0) + count
            missing = figures["lost_split" if network.streams.mixed[flow] else "lost"]
            # Copies to several receivers are not added up: the busiest flow speaks for all.
            lost[at] = max(lost.get(at, (0, 0)), (count, max(0, int(missing[flow]))))
        found = list(packets)
        return _Step(
            number, np.array(found, np.int64), np.array([packets[at] for at in found], np.int64),
            np.array([lost[at][1] for at in found], np.int64),
        )  # fmt: skip

    def _stream(self, key: Key) -> int | None:
        at = self.streams.get(key)
        if at is None and len(self.streams) < MOST_STREAMS:
            at = self.streams[key] = len(self.streams)
        if at is None and len(self.left_out) < MOST_STREAMS:
            self.left_out.add(key)
        return at

    def _add(self, bucket: _Step) -> None:
        number = bucket.number // self.length
        if self.steps and self.steps[-1].number == number:
            self.steps[-1] = _joined([self.steps[-1], bucket], number)
        else:
            self.steps.append(_Step(number, bucket.stream, bucket.packets, bucket.lost))
        # A hole of days makes many steps at once.
        while number - self.steps[0].number >= MOST_STEPS:
            self.length *= 2
            number //= 2
            self.steps = _halved(self.steps)

    def _told(self, network: Network, buckets: Sequence[_Step]) -> Minute:
        begin = buckets[0].number // _MINUTE * _MINUTE
        keys = list(self.streams)
        tens: dict[int, list[int]] = {}
        lost: dict[int, int] = {}
        for step in buckets:
            for at, packets, missing in zip(step.stream.tolist(), step.packets.tolist(), step.lost.tolist(), strict=True):
                tens.setdefault(at, [0] * _MINUTE)[step.number - begin] += packets
                lost[at] = lost.get(at, 0) + missing
        rows = tuple((_place(network, keys[at]), tuple(packets), lost[at]) for at, packets in sorted(tens.items()))
        return Minute(begin * BUCKET, rows)


def course_of(minutes: Iterable[Minute]) -> CourseView | None:
    """The same from minutes that were written down; in steps of 10 s, or longer ones if there were too many."""
    course: dict[tuple[str, int | None, str, int, str], dict[int, tuple[int, int]]] = {}
    for minute in minutes:
        for place, tens, lost in minute.rows:
            mine = course.setdefault(place, {})
            for ten, packets in enumerate(tens):
                # Losses are known by the minute: they stand in its first step.
                mine[minute.at // BUCKET + ten] = packets, 0 if ten else lost
    numbers = sorted({number for mine in course.values() for number, (packets, _) in mine.items() if packets})
    if not numbers:
        return None
    length = 1
    while numbers[-1] // length - numbers[0] // length >= MOST_STEPS:
        length *= 2
    first, width = numbers[0] // length, numbers[-1] // length - numbers[0] // length + 1
    runs = [Run(*place, *_sums(mine, first, width, length)) for place, mine in course.items()]
    return CourseView(first * length * BUCKET, length * BUCKET, tuple(runs))


def _sums(mine: Mapping[int, tuple[int, int]], first: int, width: int, length: int) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Packets and losses of each step, from those of each bucket."""
    packets, lost = [0] * width, [0] * width
    for number, (count, missing) in mine.items():
        at = number // length - first
        if 0 <= at < width:
            packets[at] += count
            lost[at] += missing
    return tuple(packets), tuple(lost)


def _key(network: Network, flow: int) -> Key:
    streams = network.streams
    return (
        int(streams.segment[flow]), int(streams.protocol[flow]), int(streams.id_hi[flow]), int(streams.id_lo[flow]),
        int(streams.universe[flow]),
    )  # fmt: skip


def _place(network: Network, key: Key) -> tuple[str, int | None, str, int, str]:
    """Interface, VLAN, protocol, universe and source as ``StreamView`` tells them."""
    segment, protocol, high, low, universe = key
    source = f"{high:016x}{low:016x}" if protocol == E131 else f"{address_text(high)}/{low}"
    return network.interface(segment), vlan(segment), protocol_name(protocol), universe, source


def _joined(steps: list[_Step], number: int) -> _Step:
    """Sums by stream."""
    stream, place = np.unique(np.concatenate([step.stream for step in steps]), return_inverse=True)
    packets, lost = np.zeros(len(stream), np.int64), np.zeros(len(stream), np.int64)
    np.add.at(packets, place, np.concatenate([step.packets for step in steps]))
    np.add.at(lost, place, np.concatenate([step.lost for step in steps]))
    return _Step(number, stream, packets, lost)


def _halved(steps: list[_Step]) -> list[_Step]:
    """Two and two as one."""
    pairs: dict[int, list[_Step]] = {}
    for step in steps:
        pairs.setdefault(step.number // 2, []).append(step)
    return [_joined(some, number) for number, some in pairs.items()]
