"""Frames to everybody that carry no light, tick by tick: which come again and again, and who sends how many.

They are told apart by their octets, in columns, whatever the rate. What comes again more often in a tick than any box would
send it is **left out** of all tables and only counted, so that a storm costs what it weighs in columns and no more. A tick with
so many of them is folded alone, so that the rules see it at that tick's end however the input was cut.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import UNICAST, Decoded
from netwatch.network.figures import speaker
from netwatch.network.order import begins_of
from netwatch.packets.batch import PacketBatch

I64 = npt.NDArray[np.int64]
U64 = npt.NDArray[np.uint64]
U16 = npt.NDArray[np.uint16]
Bool = npt.NDArray[np.bool_]
T = TypeVar("T")
B = TypeVar("B", np.uint16, np.uint32)

_PREFIX = 64
"""Octets that tell a frame apart: addresses, IP identification, the UDP checksum of all that follows; and its last eight."""
_TOP = np.uint64(48)
"""Of a hash its 16 highest bits count."""
_MIX = np.array(
    [0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9, 0xD6E8FEB86659FD93, 0xA0761D6478BD642F, 0xE7037ED1A0B428DB,
     0x8EBC6AF09C88C6E3, 0x589965CC75374CC3, 0x1D8E4E27C47D124F, 0xEB44ACCAB455D165], np.uint64,
)  # fmt: skip


@dataclass(slots=True, eq=False)
class Flooded:
    """Rows that go to everybody and carry no light, in order."""

    content: U16
    """Bucket of each row by what it says."""
    sender: U16
    """Bucket of each row by who sends it."""
    segment: I64
    speaker: U64
    time: I64
    n: I64

    def part(self, chosen: slice) -> Flooded:
        """Some of them."""
        return Flooded(*(getattr(self, each.name)[chosen] for each in fields(self)))


class Counted:
    """How many rows of each bucket that came, from when to when, whose. Two that share a bucket are taken for one."""

    def __init__(self) -> None:
        self.bucket: U16 = np.zeros(0, np.uint16)
        """Rising."""
        self.count = np.zeros(0, np.int64)
        self.first = np.zeros(0, np.int64)
        self.last = np.zeros(0, np.int64)
        self.n = np.zeros(0, np.int64)
        """Newest packet."""
        self.segment = np.zeros(0, np.int64)
        self.speaker = np.zeros(0, np.uint64)

    def add(self, bucket: U16, rows: Flooded) -> I64:
        """More rows; gives how many of its like came before each."""
        order = np.argsort(bucket, kind="stable")
        held = bucket[order]
        begins = begins_of(held)
        count = np.diff(begins, append=len(held))
        place = self._places(held[begins], rows.time[order[begins]])
        before = np.empty(len(bucket), np.int64)
        before[order] = np.arange(len(bucket)) + np.repeat(self.count[place] - begins, count)
        newest = order[begins + count - 1]
        self.count[place] += count
        self.last[place], self.n[place] = rows.time[newest], rows.n[newest]
        self.segment[place], self.speaker[place] = rows.segment[newest], rows.speaker[newest]
        return before

    def _places(self, bucket: U16, first: I64) -> I64:
        """Where buckets stand, each given once and rising; new ones begin at ``first``."""
        place = np.searchsorted(self.bucket, bucket)
        new = place == np.searchsorted(self.bucket, bucket, side="right")
        if new.any():
            at = place[new]
            self.bucket, self.first = np.insert(self.bucket, at, bucket[new]), np.insert(self.first, at, first[new])
            for name in ("count", "last", "n", "segment", "speaker"):
                setattr(self, name, np.insert(getattr(self, name), at, 0))
            place = place + np.cumsum(new) - new
        return place


@dataclass(slots=True, eq=False)
class FloodedTick:
    """One tick that is not judged yet."""

    parts: list[Flooded] = field(default_factory=list)
    """While there are few."""
    rows: int = 0
    contents: Counted | None = None
    speakers: Counted | None = None

    def count(self, rows: Flooded, most: int, loud: int) -> Bool:
        """Count more rows; True for those whose like came ``most`` times already. ``loud`` = rows of one sender that are much."""
        self.parts.append(rows)
        self.rows += len(rows.n)
        if self.contents is None or self.speakers is None:
            if not self._worth(most, loud):
                return np.zeros(len(rows.n), bool)
            self.contents, self.speakers = Counted(), Counted()
        too_many = np.zeros(0, bool)
        for part in self.parts:
            too_many = self.contents.add(part.content, part) >= most
            self.speakers.add(part.sender, part)
        self.parts.clear()
        return too_many

    def _worth(self, most: int, loud: int) -> bool:
        """Does one frame, or one sender, come so often that the tick is worth counting? Copies of a frame have one sender."""
        if self.rows < min(most, loud):
            return False
        sender = np.concatenate([part.sender for part in self.parts])
        return len(_often(sender, min(most, loud))) > 0 and (
            len(_often(sender, loud)) > 0 or len(_often(np.concatenate([part.content for part in self.parts]), most)) > 0
        )


class Floods:
    """The ticks that are open, by number."""

    def __init__(self, most: int, loud: int) -> None:
        """``most`` = copies of a frame that are folded in one tick; ``loud`` = frames of one sender in a tick that are much."""
        self.most, self.loud = most, loud
        self.left_out = 0
        """Packets that were counted only."""
        self.ticks: dict[int, FloodedTick] = {}

    def look(self, batch: PacketBatch, decoded: Decoded, time: I64, tick: I64) -> tuple[Bool | None, set[int]]:
        """(rows to be left out or None, ticks to be folded alone) of a batch, with the fold time and tick of its rows."""
        row = decoded.rows(lambda frames: (frames.cast != UNICAST) & frames.dark)
        alone: set[int] = set()
        if not len(row):
            return None, alone
        when = tick[row]
        turns = (when[1:] != when[:-1]).nonzero()[0] + 1
        bounds = [0, *turns.tolist(), len(row)]
        crowded = self._crowded(_sender(decoded, row), np.diff(bounds))
        # The others are whole, and there is not much of them.
        chosen = [run for run in range(len(bounds) - 1)
                  if run in crowded or (at := int(when[bounds[run]])) in self.ticks or at == tick[-1]]
        if not chosen:
            return None, alone
        row = np.concatenate([row[bounds[run] : bounds[run + 1]] for run in chosen])
        rows, out, begin = _flooded(batch, decoded, time, row), np.zeros(batch.rows, bool), 0
        for run in chosen:
            at, end = int(when[bounds[run]]), begin + bounds[run + 1] - bounds[run]
            here = self.ticks.setdefault(at, FloodedTick())
            out[row[begin:end]] = here.count(rows.part(slice(begin, end)), self.most, self.loud)
            if here.contents is not None:
                alone.add(at)
            begin = end
        left_out = int(np.count_nonzero(out))
        self.left_out += left_out
        return out if left_out else None, alone

    def _crowded(self, sender: U16, lengths: I64) -> set[int]:
        """Runs of rows, so long each, in which one sender comes so often that they are worth a look."""
        least = min(self.most, self.loud)
        if int(lengths.max()) < least:
            return set()
        run = np.repeat(np.arange(len(lengths), dtype=np.uint32), lengths)
        return set((_often(run << np.uint32(16) | sender, least) >> np.uint32(16)).tolist())

    def much(self, tick: int) -> bool:
        """Was there much in a tick that is not closed yet?"""
        here = self.ticks.get(tick)
        return here is not None and here.contents is not None

    def close(self, tick: int) -> FloodedTick | None:
        """A tick ends: what was counted in it, if there was much."""
        found = self.ticks[tick] if self.much(tick) else None
        for each in [each for each in self.ticks if each <= tick]:
            del self.ticks[each]
        return found


def _often(buckets: npt.NDArray[B], least: int) -> npt.NDArray[B]:
    """Those that come ``least`` times or more."""
    held = np.sort(buckets, kind="stable")  # of short words this is the fastest
    often: npt.NDArray[B] = held[least - 1 :][held[least - 1 :] == held[: max(0, len(held) - least + 1)]]
    return often


def without(decoded: Decoded, out: Bool) -> Decoded:
    """The tables without the rows that are left out; ``frames`` stays whole, for load is counted by it."""
    return replace(decoded, **{name: _less(getattr(decoded, name), out) for name in ("syncs", "arps", "rare", "broken")})


def _less(table: T, out: Bool) -> T:
    keep = ~out[table.row]  # type: ignore[attr-defined]
    return table if keep.all() else replace(table, **{each.name: getattr(table, each.name)[keep] for each in fields(table)})  # type: ignore[type-var, arg-type]


def _sender(decoded: Decoded, row: I64) -> U16:
    """Buckets by who sends it."""
    frames = decoded.frames
    who = speaker(frames.mac[row], frames.src[row].astype(np.uint64))
    whose: U64 = who * _MIX[0] + frames.segment[row].astype(np.uint64) * _MIX[1]
    return (whose >> _TOP).astype(np.uint16)


def _flooded(batch: PacketBatch, decoded: Decoded, time: I64, row: I64) -> Flooded:
    frames = decoded.frames
    segment = frames.segment[row].astype(np.int64)
    content = (_hash(batch, row, segment) >> _TOP).astype(np.uint16)
    who = speaker(frames.mac[row], frames.src[row].astype(np.uint64))
    return Flooded(content, _sender(decoded, row), segment, who, time[row], batch.first + row)


def _hash(batch: PacketBatch, row: I64, segment: I64) -> U64:
    """uint64[rows]: nothing behind the captured octets counts."""
    begin, size = batch.start[row], batch.caplen[row]
    windows = np.ndarray((len(batch.data) - _PREFIX + 1,), f"V{_PREFIX}", batch.data, strides=(1,))
    head = windows[begin].view(np.uint8).reshape(-1, _PREFIX)
    if int(size.min()) < _PREFIX:
        head[np.arange(_PREFIX) >= size[:, None]] = 0
    words = head.view(np.uint64)
    tails = np.ndarray((len(batch.data) - 7,), "V8", batch.data, strides=(1,))
    tail = tails[begin + np.maximum(size - 8, 0)].view(np.uint64)
    mixed: U64 = np.where(size > _PREFIX, tail, np.uint64(0)) * _MIX[8]
    mixed = mixed + (words * _MIX[: _PREFIX // 8]).sum(axis=1, dtype=np.uint64)
    mixed = mixed + (batch.wirelen[row].astype(np.uint64) << np.uint64(32) | segment.astype(np.uint64)) * _MIX[9]
    mixed ^= mixed >> np.uint64(29)
    mixed *= _MIX[0]
    return mixed
