"""Records a live session beside the fold, in a thread of its own. Under load it gives way first, and says so.

What happened (alerts, marks, gaps) is never given up: it waits until the journal takes it. Packets are, as soon as too many
wait or the system has to drop some.
"""

from __future__ import annotations

import sqlite3
import threading
import time
from collections import deque
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

from netwatch.packets.batch import Item, Mark, PacketBatch
from netwatch.record.journal import Journal, Slice
from netwatch.record.rolling import Segment
from netwatch.record.schema import reason
from netwatch.story.course import Minute
from netwatch.story.picture import alert_views
from netwatch.story.play import Player
from netwatch.story.snapshot import AlertView, Happening, Snapshot
from netwatch.words import record as words

EVERY_S, PICTURE_S, AGAIN_S = 1.0, 10.0, 2.0
"""Between two commits of figures, two whole pictures, two tries after a failure."""
MOST_WAITING = 48 << 20
"""Bytes of packets that wait: a third of a second at gigabit line rate, and half a minute of 64 universes."""
_ROW = 40
"""Bytes of a packet's columns."""
MOST_NEWS = 20_000
"""Happenings that wait for the journal while it can't be written."""
CALM_S = 10.0
"""After the system dropped packets no packet is recorded for so long."""
_ALERT = frozenset({"opened", "changed", "folded", "unfolded", "closed", "accepted", "mended"})


@dataclass(frozen=True, slots=True)
class News:
    """What one item brought about."""

    lines: tuple[Happening, ...] = ()
    alerts: tuple[AlertView, ...] = ()
    minutes: tuple[Minute, ...] = ()


@dataclass(frozen=True, slots=True)
class Look:
    """The whole session at one moment."""

    snapshot: Snapshot
    minute: Minute | None


class Stores(Protocol):
    """Where packets are kept; used by the recorder's thread alone."""

    problem: str | None
    """What can't be kept now, one sentence."""

    def take(self, item: Item) -> None: ...

    def tell(self, news: News) -> None:
        """Alerts and marks around which packets are kept apart."""

    def found(self, numbers: Collection[int]) -> Mapping[int, PacketBatch]:
        """Packets that are still at hand, as batches of one row."""

    def slices(self) -> Sequence[Slice]:
        """All of them, as they stand now."""

    def segments(self) -> Sequence[Segment]:
        """The files of what rolls, as they stand now."""

    def close(self) -> None: ...


@dataclass(slots=True)
class _Waiting:
    """What the thread has not taken yet."""

    told: deque[Item | News] = field(default_factory=deque)
    """In the order in which it came: what an item brought about stands behind it, before the stores' memory goes on."""
    bytes: int = 0


class Recorder:
    """``offer`` and ``watch`` belong to the listening thread and return at once; the rest happens in the recorder's own."""

    def __init__(
        self, journal: Journal, look: Callable[[], Look], stores: Stores | None = None,
        say: Callable[[str], None] = lambda text: None,
    ) -> None:  # fmt: skip
        """``look`` may be called from any thread; ``say`` is told what recording lacks, and when it is whole again."""
        self.journal, self._look, self._stores, self._say = journal, look, stores, say
        self._said: str | None = None
        self.committed = 0
        """Happenings that are on the disk."""
        self.given_up = 0
        """Packets that were not recorded, because recording had to give way."""
        self._problem: str | None = None
        self._told = 0
        self._calm = 0.0
        self._late = False
        """Packets were not recorded since this was last told."""
        self._dropped: dict[int, int] = {}
        self._waiting = _Waiting()
        self._unwritten: deque[News] = deque()
        self._wake = threading.Condition()
        self._closing: Look | None = None
        self._thread = threading.Thread(target=self._run, name="recording", daemon=True)

    def start(self, player: Player) -> None:
        """Begin; from now on the player keeps its minutes for us."""
        player.course.minutes = []
        self._thread.start()

    @property
    def problem(self) -> str | None:
        """Why recording is not whole now, one sentence."""
        return self._problem or (self._stores.problem if self._stores is not None else None)

    @property
    def waiting(self) -> int:
        """Bytes of packets that wait to be recorded."""
        return self._waiting.bytes

    # ---- the listening thread ----

    def offer(self, item: Item) -> None:
        """An item before it is folded."""
        if self._stores is None:
            return
        if isinstance(item, Mark):
            self._mind(item)
            size = 0
        else:
            size = int(item.caplen.sum()) + _ROW * item.rows
        with self._wake:
            if size and (self._waiting.bytes + size > MOST_WAITING or time.monotonic() < self._calm):
                self.given_up += item.rows if isinstance(item, PacketBatch) else 0
                self._late = True
                return
            self._waiting.told.append(item)
            self._waiting.bytes += size
            self._wake.notify()

    def watch(self, player: Player) -> None:
        """After an item was folded: what it brought about. The caller holds the player."""
        log = player.happenings
        have = log.left_out + len(log.lines)
        minutes = tuple(player.course.minutes or ())
        if have == self._told and not minutes:
            return
        lines = tuple(log.lines[max(0, self._told - log.left_out) :])
        touched = {line.alert for line in lines if line.what in _ALERT and line.alert is not None}
        alerts = alert_views(player, _with_family(player, touched)) if touched else ()
        self._told = have
        if player.course.minutes:
            player.course.minutes.clear()
        with self._wake:
            self._waiting.told.append(News(lines, alerts, minutes))
            self._wake.notify()

    def close(self, last: Look) -> None:
        """Write all that waits, and how the session ended."""
        with self._wake:
            self._closing = last
            self._wake.notify()
        self._thread.join()

    def _mind(self, mark: Mark) -> None:
        """The system dropped packets: recording gives way first."""
        if mark.dropped is not None and mark.dropped > self._dropped.get(mark.port, 0):
            self._dropped[mark.port] = mark.dropped
            self._calm = time.monotonic() + CALM_S

    # ---- the recorder's own thread ----

    def _run(self) -> None:
        figures = picture = tried = 0.0
        while True:
            with self._wake:
                if self._closing is None and not self._waiting.told:
                    self._wake.wait(EVERY_S / 4)
                taken, self._waiting, last = self._waiting, _Waiting(), self._closing
            news = self._take(taken)
            self._tell()
            now = time.monotonic()
            due = now - figures >= EVERY_S or (bool(self._unwritten) and (news or now - tried >= AGAIN_S))
            if last is None and not due:
                continue
            tried = now
            whole = now - picture >= PICTURE_S or last is not None
            if last is not None and self._stores is not None:
                self._stores.close()
            if self._write(last or self._look(), whole=whole, ended=last is not None):
                figures, picture = now, now if whole else picture
            if last is not None:
                self._end(last)
                return

    def _tell(self) -> None:
        """What is new about recording itself."""
        problem = self.problem or (words.GIVES_WAY if time.monotonic() < self._calm or self._late else None)
        self._late = False
        if problem != self._said:
            self._said = problem
            self._say(problem or words.GOES_ON)

    def _take(self, taken: _Waiting) -> bool:
        """True when something happened."""
        happened = [each for each in taken.told if isinstance(each, News)]
        self._unwritten += happened
        if self._stores is not None:
            for each in taken.told:
                if isinstance(each, News):
                    self._stores.tell(each)
                else:
                    self._stores.take(each)
        while sum(len(news.lines) for news in self._unwritten) > MOST_NEWS:
            self._unwritten.popleft()
        return bool(happened)

    def _write(self, look: Look, *, whole: bool, ended: bool) -> bool:
        """All that waits, in one commit; whether it is on the disk."""
        journal, waiting = self.journal, list(self._unwritten)
        try:
            for news in waiting:
                journal.happened(news.lines)
                journal.alerts(news.alerts)
                journal.minutes(news.minutes)
            if self._stores is not None:
                wanted = {n for news in waiting for alert in news.alerts for n in alert.packets}
                journal.packets(self._stores.found(wanted) if wanted else {})
                journal.slices(self._stores.slices())
                journal.segments(self._stores.segments())
            if whole:
                journal.picture(look.snapshot)
                journal.minutes([look.minute] if look.minute is not None else [])
            else:
                journal.news(look.snapshot)
            journal.facts(self._facts(look, ended))
            journal.make_room()
            journal.commit()
        except sqlite3.Error as error:
            journal.undo()
            self._problem = words.not_written(str(journal.path), reason(error))
            return False
        self._problem = None
        for news in waiting:
            self._unwritten.popleft()
            self.committed += len(news.lines)
        return True

    def _facts(self, look: Look, ended: bool) -> dict[str, Any]:
        found: dict[str, Any] = {"given up": self.given_up} if self.given_up else {}
        return {**found, "ended": look.snapshot.now} if ended else found

    def _end(self, last: Look) -> None:
        """What could not be written is tried twice more."""
        for _ in range(2):
            if self._problem is not None:
                time.sleep(AGAIN_S / 4)
                self._write(last, whole=True, ended=True)
        self.journal.close()


def _with_family(player: Player, ids: Collection[int]) -> set[int]:
    """With the causes and the consequences of these alerts: what moves one changes the other."""
    alerts = player.judge.engine.alerts()
    found = set(ids)
    for id in ids:
        alert = alerts.get(id)
        if alert is not None:
            found |= {*alert.under, *([alert.over] if alert.over is not None else [])}
    return found
