"""A recorded story that can be played, stopped and jumped in: the state shown is the state then, from checkpoints."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from threading import RLock

import numpy as np

from ..decode.tables import ARTNET, E131
from ..packets.batch import EARLIEST, LATEST, Item, Mark, PacketBatch
from ..packets.files import Captures, open_captures, packet_bytes
from ..report.times import Times
from ..screens.source import Source
from ..story.play import Player
from ..story.snapshot import Said, Snapshot, Why
from ..story.spelled import said
from ..story.why import Asked, why

NS = 1_000_000_000
CHECKPOINTS = 64
"""At most; where there would be more, every second one goes."""
FIRST_APART = 5 * NS
FASTEST = 64


@dataclass(frozen=True, slots=True)
class _Checkpoint:
    """The state before row ``row`` of the item numbered ``item``."""

    at: int
    item: int
    row: int
    player: Player


class Tape(Source):
    """Made by reading the whole story once; then any moment of it can be shown. Safe from any thread."""

    def __init__(self, paths: Sequence[str], player: Player) -> None:
        """``player`` has folded nothing yet. Raises ``CaptureError``."""
        self._paths, self._fresh = list(paths), player.copy()
        self._player = player
        self._lock = RLock()
        self._checkpoints: list[_Checkpoint] = []
        self._apart = FIRST_APART
        self._cursor: _Cursor = _Cursor(open_captures(paths))
        self._shown: tuple[Player, Snapshot] | None = None
        self._looked: tuple[int, int, int | None] | None = None
        self._bytes: dict[int, bytes] = {}
        self._revision = 0
        self._since = 0.0
        self.first = self.last = self.at = 0
        self.playing, self.speed = False, 1
        self.moments: Sequence[int] = ()

    @property
    def tape(self) -> Tape:
        """Itself: this story can be played."""
        return self

    @property
    def source(self) -> Captures:
        """The files as they were first read."""
        return self._cursor.source

    @property
    def player(self) -> Player:
        """At the end of the story."""
        return self._player

    def load(self, progress: Callable[[int, int | None], None]) -> None:
        """Read all. Raises ``CaptureError`` after what could be read; ``finish`` follows in any case."""
        cursor, player = self._cursor, self._player
        while (at := cursor.next_time()) is not None:
            if not self._checkpoints or at >= self._checkpoints[-1].at + self._apart:
                self._keep(_Checkpoint(at, cursor.item, cursor.row, player.copy()))
            cursor.run(player, self._checkpoints[-1].at + self._apart)
            progress(cursor.source.bytes_read, cursor.source.bytes_total)

    def finish(self) -> None:
        """The end of the story: it is shown first."""
        self._cursor.source.close()
        self._player.finish()
        snapshot = self._player.snapshot()
        self._end = self._player
        self._shown = self._end, snapshot
        self.first, self.last = snapshot.first or snapshot.now, snapshot.now
        self.at = self.last
        marks = [each.at for each in snapshot.happenings if each.what == "word"]
        opened = [each.opened for each in snapshot.alerts if each.over is None]
        self.moments = sorted({each for each in (*marks, *opened) if self.first < each < self.last})

    def _keep(self, point: _Checkpoint) -> None:
        self._checkpoints.append(point)
        if len(self._checkpoints) > CHECKPOINTS:
            del self._checkpoints[1::2]
            self._apart *= 2

    # ---- time ----

    def play(self, playing: bool) -> None:
        """Go on from ``at``, or stand still."""
        with self._lock:
            self._go_on()
            self.playing, self._since = playing and self.at < self.last, time.monotonic()
            self._changed()

    def hasten(self, faster: bool) -> None:
        """Double or halve the speed."""
        with self._lock:
            self._go_on()
            self.speed = min(self.speed * 2, FASTEST) if faster else max(self.speed // 2, 1)
            self._changed()

    def seek(self, at: int) -> None:
        """Show the moment ``at``."""
        with self._lock:
            self.playing = False
            self._to(at)

    def _go_on(self) -> None:
        """While playing: to the moment that it should be by now."""
        if self.playing:
            now = time.monotonic()
            wanted = self.at + int((now - self._since) * self.speed * NS)
            self._since = now
            self.playing = wanted < self.last
            self._to(wanted)

    def _to(self, at: int) -> None:
        at = min(max(at, self.first), self.last)
        if at < self.last:
            point = max((each for each in self._checkpoints if each.at <= at), key=lambda each: each.at, default=None)
            behind = self._player is self._end or at < self.at
            if behind or (point is not None and point.at > self.at):
                self._restore(point)
            self._cursor.run(self._player, at)
        self.at = at
        self._changed()

    def _restore(self, point: _Checkpoint | None) -> None:
        """Begin again at a checkpoint, or at the very start."""
        self._cursor.source.close()
        self._cursor = _Cursor(open_captures(self._paths))
        self._player = self._fresh.copy() if point is None else point.player.copy()
        if point is not None:
            self._cursor.skip(point.item, point.row)
        if self._looked is not None:
            self._player.look(*self._looked)

    def _changed(self) -> None:
        self._shown = None
        self._revision += 1

    # ---- what is shown ----

    def _now(self) -> tuple[Player, Snapshot]:
        if self._shown is None:
            if self.at >= self.last:
                player = self._end
            else:
                player = self._player.copy()
                if player.network.ports:  # lets the time pass up to the moment that is shown
                    player.feed(Mark(self.at, 0, None, None, None, tuple(player.network.ports)))
            self._shown = player, replace(player.snapshot(), revision=self._revision)
        return self._shown

    def snapshot(self) -> Snapshot:
        """The picture at ``at``."""
        with self._lock:
            self._go_on()
            return self._now()[1]

    def why(self, protocol: str, universe: int, see: str | None) -> Why:
        """One universe followed on its way, at ``at``."""
        with self._lock:
            player, snapshot = self._now()
            return why(player, snapshot, Asked(protocol, universe, see), Times(snapshot.first).clock)

    def look(self, protocol: str, universe: int, channel: int | None = None) -> None:
        """Keep this universe's frames in the snapshot."""
        with self._lock:
            self._looked = E131 if protocol == "e131" else ARTNET, universe, channel
            for player in (self._player, self._end):
                player.look(*self._looked)
            self._changed()

    def packet(self, number: int) -> Sequence[Said] | None:
        """Read again from the files."""
        with self._lock:
            if number not in self._bytes:
                self._bytes.update(packet_bytes(self._paths, (number,)))
            data = self._bytes.get(number, self._end.network.raw.get(number))
            return None if data is None else said(data, self._link_type)

    @property
    def _link_type(self) -> int:
        """Where files of several kinds are mixed, that of most."""
        types = [port.link_type for port in self._end.network.ports]
        return max(types, key=types.count, default=1)


class _Cursor:
    """A place in the items of files, given up to any moment."""

    def __init__(self, source: Captures) -> None:
        self.source = source
        self.item, self.row = -1, 0
        """The item that is being read, and its first row that was not given yet."""
        self._items: Iterator[Item] = iter(source)
        self._rest: Item | None = None
        self._clock = 0

    def next_time(self) -> int | None:
        """Fold time of what comes next; None at the end."""
        item = self._next()
        return None if item is None else int(self._times(item)[0])

    def run(self, player: Player, until: int) -> None:
        """Feed all that happened up to and at ``until``, at least the rest of what is older."""
        while (item := self._next()) is not None:
            times = self._times(item)
            upto = int(np.searchsorted(times, until, "right"))
            if upto == 0:
                return
            if isinstance(item, Mark) or upto == item.rows:
                player.feed(item)
                self._rest = None
            else:
                player.feed(item.part(0, upto))
                self._rest, self.row = item.part(upto, item.rows), self.row + upto
            self._clock = int(times[upto - 1])

    def skip(self, item: int, row: int) -> None:
        """To a place, without feeding."""
        while self.item < item:
            self._rest = None
            found = self._next()
            if found is None:
                return
        found = self._rest
        if row and isinstance(found, PacketBatch):
            self._rest, self.row = found.part(row, found.rows), row

    def _next(self) -> Item | None:
        while self._rest is None or (isinstance(self._rest, PacketBatch) and not self._rest.rows):
            self._rest = next(self._items, None)
            if self._rest is None:
                return None
            self.item, self.row = self.item + 1, 0
        return self._rest

    def _times(self, item: Item) -> np.ndarray:
        times = np.array([item.time], np.int64) if isinstance(item, Mark) else item.time
        usable = np.where((times >= EARLIEST) & (times <= LATEST), times, 0)  # others count as the one before, as for the fold
        return np.maximum(np.maximum.accumulate(usable), self._clock)
