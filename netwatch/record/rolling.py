"""A capture in segments of which the oldest go: as much of the newest as a number of bytes holds."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

from netwatch.packets.keep import Keeper
from netwatch.packets.stream import CaptureError
from netwatch.record.recent import Chunk, with_chunk
from netwatch.words import record as words

LEAST, MOST, PARTS = 4 << 20, 256 << 20, 16
"""Bytes of a segment, at least and at most; into so many parts the whole is cut. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Segment:
    """One file. Times in ns; ``runs`` = numbers of its packets as (first, how many)."""

    id: int
    kind: str
    file: str
    first: int
    last: int
    bytes: int
    runs: tuple[tuple[int, int], ...]
    gone: str | None = None


@dataclass(slots=True)
class _Open:
    keeper: Keeper
    segment: Segment
    runs: list[list[int]] = field(default_factory=list)


class Rolling:
    """Segments ``kind-0001.pcapng`` and so on in a folder. ``begun`` is called when a new one begins.

    A segment begins only where ``reserve`` bytes of the disk stay free behind it.
    """

    def __init__(
        self, folder: Path, kind: str, most: int, about: str, begun: Callable[[], None] = lambda: None, reserve: int = 0
    ) -> None:
        self._reserve = reserve
        self._folder, self._kind, self._most, self._about, self._begun = folder, kind, most, about, begun
        self._part = min(MOST, max(LEAST, most // PARTS))
        self._open: _Open | None = None
        self._done: list[Segment] = []
        self._gone: list[Segment] = []
        self._number = 0

    def write(self, chunk: Chunk, numbered: bool = True) -> None:
        """Append; a new segment begins where the present one is full. Raises ``CaptureError``; what was written is good."""
        if self._open is not None and self._open.keeper.size >= self._part:
            self._close()
        if self._open is None:
            self._next(chunk)
        current = self._open
        assert current is not None
        current.keeper.write_packed(chunk.blocks, chunk.ports)
        if numbered:
            with_chunk(current.runs, chunk)
        segment = current.segment
        current.segment = replace(
            segment, first=min(segment.first, chunk.first), last=max(segment.last, chunk.last), bytes=current.keeper.size
        )

    def give_back(self) -> bool:
        """Take the oldest whole segment away, to make room; whether there was one."""
        self._close()
        return self._drop()

    def close(self) -> None:
        """The present segment is whole."""
        self._close()

    def segments(self) -> list[Segment]:
        """All of them, those that are gone too, by number."""
        here = [] if self._open is None else [self._whole(self._open)]
        return [*self._gone, *self._done, *here]

    @property
    def reach(self) -> float | None:
        """Seconds that all of it will hold at the rate so far; None while too little is known."""
        here = [each for each in self.segments() if each.gone is None]
        seconds = (max(each.last for each in here) - min(each.first for each in here)) / 1e9 if here else 0.0
        held = sum(each.bytes for each in here)
        return self._most * seconds / held if seconds >= 10 and held else None

    def _next(self, chunk: Chunk) -> None:
        while sum(each.bytes for each in self._done) + self._part > self._most and self._drop():
            pass
        while self._short() and self._drop():
            pass
        if self._short():
            raise CaptureError(words.disk_full(str(self._folder), self._reserve))
        self._number += 1
        name = f"{self._kind}-{self._number:04}.pcapng"
        keeper = Keeper(self._folder / name, self._about)
        self._open = _Open(keeper, Segment(self._number, self._kind, name, chunk.first, chunk.last, keeper.size, ()))
        self._begun()

    def _short(self) -> bool:
        """The journal and the rest of the laptop need room too."""
        return bool(self._reserve) and shutil.disk_usage(self._folder).free < self._part + self._reserve

    def _close(self) -> None:
        if self._open is not None:
            self._open.keeper.close()
            self._done.append(self._whole(self._open))
            self._open = None

    def _whole(self, current: _Open) -> Segment:
        return replace(current.segment, runs=tuple((first, rows) for first, rows in current.runs))

    def _drop(self) -> bool:
        if not self._done:
            return False
        oldest = self._done.pop(0)
        try:
            (self._folder / oldest.file).unlink(missing_ok=True)
        except OSError as error:
            self._done.insert(0, oldest)
            raise CaptureError(words.cannot_prune(oldest.file, error.strerror or "unknown reason")) from None
        self._gone.append(replace(oldest, bytes=0, runs=(), gone=words.ROLLED))
        del self._gone[:-PARTS]
        return True
