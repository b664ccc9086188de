"""Several files as one session: one after another, or merged by time where they overlap.

A file's rows are ordered by the running maximum of their times, so that a clock that steps back never reorders one file.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from .batch import EARLIEST, I64, LATEST, MAX_BYTES, MAX_ROWS, NEXT_FILE, TAIL, U8, FileSeen, Item, Mark, PacketBatch, rising
from .ports import MAX_PORTS, PortTable
from .reader import Reader
from .stream import BLOCK, CaptureError, DamageError

_NEVER = np.iinfo(np.int64).max
_LOWEST = np.iinfo(np.int64).min
_GAP = 1_000_000_000
"""ns between two files from which on it is told where the second one begins."""


class Feed:
    """One file on its way into the session: its current item, and the times it is ordered by."""

    def __init__(self, seen: FileSeen, order: int, open_reader: Callable[[int], Reader]) -> None:
        self.seen = seen
        self.order = order
        self.begins = _NEVER
        """When its first item happened."""
        self.size: int | None = None
        self.reader: Reader | None = None
        self.item: Item | None = None
        self.keys: I64 = np.zeros(0, np.int64)
        self._open_reader = open_reader
        self._items: Iterator[Item] = iter(())
        self._spent = True
        self._highest = _LOWEST
        self._ports: list[int] = []
        self._refused = 0

    def begin(self, block: int = BLOCK) -> None:
        """Open the file, unless it is open. Raises ``CaptureError``."""
        if self.reader is None:
            self.reader = self._open_reader(block)
            self.size = self.reader.stream.total
            self._items = iter(self.reader)

    def peek(self, *, again: bool) -> None:
        """Find out when the first item happened; a file that can be read ``again`` is closed until its turn."""
        self.load()
        self.begins = _NEVER if self.item is None else int(self.keys[0])
        if again:
            self.close()
            self.reader, self.item, self._items, self._spent = None, None, iter(()), True
            self._highest, self.seen.problem = _LOWEST, None

    def load(self) -> None:
        """Have a current item; None at the end. Not before it is needed: a pipe may keep us waiting."""
        if not self._spent:
            return
        self._spent = False
        try:
            self.item = next(self._items, None)
        except DamageError as error:
            self.item = None
            self.seen.problem = f"{self.seen.name}: {error}; all before it was read."
        if self.item is not None:
            self.keys = self._ordered(self.item)

    def until(self, bound: tuple[int, int]) -> int:
        """Rows of the current batch up to a time and order; 0 for a mark."""
        if not isinstance(self.item, PacketBatch):
            return 0
        time, order = bound
        return int(np.searchsorted(self.keys, time, "right" if self.order <= order else "left"))

    def take(self, count: int, table: PortTable) -> tuple[PacketBatch, I64]:
        """Cut rows off the front; their ports are those of the session."""
        batch, keys = self.item, self.keys
        assert isinstance(batch, PacketBatch)
        port = self._mapped(batch, table)[batch.port]
        front = replace(batch.part(0, count), port=port[:count])
        self._spent = count == batch.rows
        if not self._spent:
            self.item, self.keys = batch.part(count, batch.rows), keys[count:]
        return front, keys[:count]

    def take_mark(self, table: PortTable) -> Mark:
        """The current mark; its port is that of the session."""
        mark = self.item
        assert isinstance(mark, Mark)
        mark = replace(mark, port=int(self._mapped(mark, table)[mark.port]), ports=table.ports)
        self._spent = True
        return mark

    def end(self, table: PortTable) -> None:
        """Close it and let others have its ports."""
        table.release(self._ports)
        refused = self._refused + (self.reader.table.refused if self.reader else 0)
        if refused and not self.seen.problem:
            self.seen.problem = (
                f"{self.seen.name}: {refused:,} interfaces more than the {MAX_PORTS - 1} that are told apart; "
                "their packets are counted, not decoded."
            )
        self.close()

    def close(self) -> None:
        if self.reader is not None:
            self.reader.stream.close()

    def _mapped(self, item: Item, table: PortTable) -> U8:
        """The session's port of each of the file's."""
        before = table.refused
        self._ports += [table.take(port) for port in item.ports[len(self._ports) :]]
        self._refused += table.refused - before
        return np.array(self._ports, np.uint8)

    def _ordered(self, item: Item) -> I64:
        times = item.time if isinstance(item, PacketBatch) else np.array([item.time], np.int64)
        if int(times.min()) < EARLIEST or int(times.max()) >= LATEST:
            times = np.where((times >= EARLIEST) & (times < LATEST), times, self._highest)
        keys = rising(times)
        keys = np.maximum(keys, self._highest) if keys[0] < self._highest else keys
        self._highest = int(keys[-1])
        return keys


def merged(feeds: Sequence[Feed], table: PortTable) -> Iterator[Item]:
    """Items of all files by (time, order given, number in file); packets are numbered from 1."""
    waiting = sorted(feeds, key=lambda feed: (feed.begins, feed.order))
    active: list[Feed] = []
    first, newest = 1, _NEVER
    while _loaded(active, table) or waiting:
        ends = [(int(feed.keys[-1]), feed.order, feed) for feed in active]
        ends += [(feed.begins, feed.order, feed) for feed in waiting[:1]]
        time, order, holder = min(ends, key=lambda end: end[:2])
        newest = time if holder in active else newest
        counts = [(feed, feed.until((time, order))) for feed in active]
        parts = [_Part(feed, *feed.take(count, table)) for feed, count in counts if count]
        if parts:
            for batch in _interleaved(parts, first):
                first += batch.rows
                yield replace(batch, ports=table.ports)
        elif holder in active:
            yield holder.take_mark(table)
        else:
            waiting.remove(holder)
            if not active and table.ports and _GAP < holder.begins - newest < _NEVER - newest:
                yield Mark(holder.begins, 0, None, None, {NEXT_FILE: holder.seen.name}, table.ports)
            _activate(holder)
            active.append(holder)
            active.sort(key=lambda feed: feed.order)


@dataclass(slots=True)
class _Part:
    """Rows of one file that are due."""

    feed: Feed
    batch: PacketBatch
    keys: I64


def _loaded(active: list[Feed], table: PortTable) -> list[Feed]:
    """Those of the active files that have an item; the others end here."""
    for feed in active:
        feed.load()
    for feed in [feed for feed in active if feed.item is None]:
        feed.end(table)
        active.remove(feed)
    return active


def _activate(feed: Feed) -> None:
    """Open a file whose turn it is; it may have gone since it was looked at."""
    try:
        feed.begin()
    except CaptureError as error:
        feed.seen.problem = str(error)


def _interleaved(parts: list[_Part], first: int) -> Iterator[PacketBatch]:
    """The rows of all parts, in order of files given, by their keys (stable); a single part keeps its bytes where they are."""
    source = np.zeros(1, np.int64)
    if len(parts) > 1:
        source = np.repeat(np.arange(len(parts)), [len(part.keys) for part in parts])
        source = source[np.argsort(np.concatenate([part.keys for part in parts]), kind="stable")]
    for index, part in enumerate(parts):
        part.feed.seen.first = part.feed.seen.first or first + int(np.argmax(source == index))
        part.feed.seen.packets += len(part.keys)
    if len(parts) == 1:
        yield replace(parts[0].batch, first=first)
        return
    done = np.zeros(len(parts), np.int64)
    low = 0
    while low < len(source):
        high = min(low + MAX_ROWS, len(source))
        while True:
            upto = done + np.bincount(source[low:high], minlength=len(parts))
            cut = [part.batch.part(*span) for part, *span in zip(parts, done.tolist(), upto.tolist(), strict=True)]
            if high - low == 1 or sum(_span(batch)[1] - _span(batch)[0] for batch in cut) <= MAX_BYTES:
                break
            high = low + (high - low) // 2
        yield replace(_joined(cut, source[low:high]), first=first + low)
        low, done = high, upto


def _span(batch: PacketBatch) -> tuple[int, int]:
    """The bytes of ``data`` from the first packet's begin to the last one's end."""
    if not batch.rows:
        return 0, 0
    return int(batch.start[0]), int(batch.start[-1]) + int(batch.caplen[-1])


def _joined(batches: list[PacketBatch], source: I64) -> PacketBatch:
    """One batch whose row i is the next row of batch ``source[i]``."""
    spans = [_span(batch) for batch in batches]
    data = np.concatenate([*(b.data[low:high] for b, (low, high) in zip(batches, spans, strict=True)), np.zeros(TAIL, np.uint8)])
    base = np.cumsum([0, *(high - low for low, high in spans[:-1])])
    moved = [b.start + shift for b, shift in zip(batches, base - [low for low, _ in spans], strict=True)]
    place = np.empty(len(source), np.int64)
    place[np.argsort(source, kind="stable")] = np.arange(len(source))
    columns = {"start": np.concatenate(moved)[place]}
    for name in ("caplen", "wirelen", "time", "port", "direction"):
        columns[name] = np.concatenate([getattr(batch, name) for batch in batches])[place]
    for array in (data, *columns.values()):
        array.flags.writeable = False
    return PacketBatch(data=data, first=0, ports=(), **columns)
