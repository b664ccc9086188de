"""Where the packets of a live session go: the rig's talk, slices around alerts, and, for a guard, the rolling capture."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from netwatch.decode.columns import decode
from netwatch.network.clock import FoldClock
from netwatch.numbers import Numbers
from netwatch.packets.batch import Item, Mark, PacketBatch
from netwatch.packets.stream import CaptureError
from netwatch.record.cutting import Cutter, talk
from netwatch.record.journal import Slice
from netwatch.record.recent import Chunk, Recent, chunk_of
from netwatch.record.recorder import News
from netwatch.record.rolling import Rolling, Segment
from netwatch.record.slices import Slices
from netwatch.words import record as words

NS = 1_000_000_000
MIB = 1 << 20
WHOLE_EVERY = 10 * NS
"""So often a frame of each stream stays whole, so that any piece of the recording shows the levels."""
SLACK = 30 * NS
"""An alert is told so much later than it began, at most; what is older may be missing from a slice's beginning."""
AGAIN_S = 10.0
"""After a store could not be written, it is tried again."""

MOST_UNTOLD = 64
"""News that wait until slices can be written again."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Bytes of each store; ``capture`` None = no rolling capture."""

    talk: int
    slices: int
    recent: int
    capture: int | None = None

    @classmethod
    def of(cls, numbers: Numbers, capture: int | None = None) -> Limits:
        """From the settings."""
        return cls(round(numbers.talk_mib * MIB), round(numbers.slices_mib * MIB), round(numbers.recent_mib * MIB), capture)


class PacketStores:
    """Used by the recorder's thread alone."""

    def __init__(self, folder: Path, numbers: Numbers, limits: Limits, cutter: Cutter) -> None:
        around = round(numbers.slice_around_s * NS)
        about = words.kept_by_netwatch(cutter.whole, cutter.headers_only)
        self.problem: str | None = None
        self.limits = limits
        self.recent = Recent(around + SLACK, limits.recent)
        self.talk = Rolling(folder, "talk", limits.talk, words.TALK)
        self.slices_ = Slices(folder, around, limits.slices, self.recent, about)
        reserve = round(numbers.guard_reserve_mib * MIB)
        self.capture = (
            None if limits.capture is None else Rolling(folder, "capture", limits.capture, about, self._whole_next, reserve)
        )
        self._cutter, self._fresh = cutter, 0
        self._clock = FoldClock(numbers)
        self._again: dict[str, float] = {}
        self._untold: deque[News] = deque(maxlen=MOST_UNTOLD)
        self._looked = 0.0
        self.reach: Mapping[str, float] = {}
        """Seconds that each store holds at the rate so far; those that are known."""

    def take(self, item: Item) -> None:
        """A batch or a mark."""
        if isinstance(item, Mark):
            time, _ = self._clock.mark(item)
            chunk = chunk_of(item, time, time)
            said: Chunk | None = chunk
        elif item.rows:
            chunk, said = self._packed(item)
        else:
            return
        self.recent.add(chunk)
        if self._untold:
            self._try("slice", self._catch_up)
        self._try("slice", lambda: self.slices_.take(chunk))
        if said is not None:
            self._try("talk", lambda: self.talk.write(said, numbered=False))
        if self.capture is not None:
            self._try("capture", lambda: self._capture(chunk))
            self._look()

    def tell(self, news: News) -> None:
        """What happened: around some of it packets are kept apart."""
        self._untold.append(news)
        self._try("slice", self._catch_up)

    def _catch_up(self) -> None:
        """What could not be begun so far, as long as its packets are in memory."""
        while self._untold:
            news = self._untold[0]
            told = {line.alert for line in news.lines if line.what == "opened" and line.alert is not None}
            self.slices_.alerts(news.alerts, told)
            self.slices_.marks(news.lines)
            self._untold.popleft()

    def found(self, numbers: Collection[int]) -> Mapping[int, PacketBatch]:
        """Packets that are still in memory."""
        return self.recent.found(numbers)

    def slices(self) -> Sequence[Slice]:
        """All slices."""
        return self.slices_.all()

    def segments(self) -> Sequence[Segment]:
        """All segments of what rolls."""
        return [*self.talk.segments(), *(self.capture.segments() if self.capture is not None else [])]

    def close(self) -> None:
        """All files are whole."""
        self._try("slice", self.slices_.close)
        self.talk.close()
        if self.capture is not None:
            self.capture.close()

    def _packed(self, batch: PacketBatch) -> tuple[Chunk, Chunk | None]:
        """What is kept of a batch, and the rig's talk in it."""
        decoded = decode(batch)
        newest = int(batch.time[-1])
        if not 0 <= newest - self._fresh < WHOLE_EVERY:
            self._fresh = newest
            self._cutter.forget()
        kept = self._cutter.cut(batch, decoded)
        rows = talk(decoded)
        folded, _ = self._clock.batch(batch)
        when = int(folded[0]), int(folded[-1])
        return chunk_of(kept, *when), chunk_of(kept.chosen(rows), *when) if rows.any() else None

    def _whole_next(self) -> None:
        self._cutter.forget()

    def _look(self) -> None:
        """Once in a while: how far the stores reach."""
        now = time.monotonic()
        if self.capture is not None and now >= self._looked:
            self._looked = now + 10.0
            found = {"capture": self.capture.reach, "talk": self.talk.reach}
            self.reach = {store: reach for store, reach in found.items() if reach is not None}

    def _capture(self, chunk: Chunk) -> None:
        """On a full disk the oldest segment makes room."""
        assert self.capture is not None
        try:
            self.capture.write(chunk)
        except CaptureError:
            if not self.capture.give_back():
                raise
            self.capture.write(chunk)

    def _try(self, store: str, work: Callable[[], None]) -> None:
        """What can't be written is told, left, and tried again later."""
        if time.monotonic() < self._again.get(store, 0.0):
            return
        try:
            work()
        except (CaptureError, OSError) as error:
            self._again[store] = time.monotonic() + AGAIN_S
            self.problem = words.not_kept(store, str(error))
            return
        if self._again.pop(store, None) is not None and not self._again:
            self.problem = None
