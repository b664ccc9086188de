"""Slices of a live session: packets from a minute before to a minute after each alert and mark, kept apart from what rolls."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from netwatch.packets.keep import Keeper
from netwatch.record.journal import Slice
from netwatch.record.recent import Chunk, Recent, with_chunk
from netwatch.record.slicing import SEVERE, Span
from netwatch.story.snapshot import AlertView, Happening
from netwatch.words import record as words

MARK = "mark"
"""Stands in a slice's severity where only marks are in it."""
_RANK = ("now", MARK, "soon")
"""What goes last when room is needed comes first."""


@dataclass(slots=True)
class _Open:
    keeper: Keeper
    slice: Slice
    end: int
    """ns until which it goes on."""
    newest: Chunk | None = None
    """The last one written."""
    runs: list[list[int]] = field(default_factory=list)


class Slices:
    """At most ``most`` bytes in all; the oldest of severity 'soon' go first."""

    def __init__(self, folder: Path, around: int, most: int, recent: Recent, about: str) -> None:
        """``around`` ns before and after."""
        self._folder, self._around, self._most, self._recent, self._about = folder, around, most, recent, about
        self._open: _Open | None = None
        self._done: list[Slice] = []

    def alerts(self, alerts: Iterable[AlertView], told: set[int]) -> None:
        """Alerts that were told just now, by id. Raises ``CaptureError``."""
        for alert in alerts:
            if alert.id in told and alert.severity in SEVERE:
                span = Span(alert.since - self._around, alert.opened + self._around, (words.of_alert(alert.id, alert.code),))
                self._want(span, alert.severity)

    def marks(self, lines: Iterable[Happening]) -> None:
        """Words of a person. Raises ``CaptureError``."""
        for line in lines:
            if line.what == "word":
                self._want(Span(line.at - self._around, line.at + self._around, (words.of_mark(line.text),)), MARK)

    def take(self, chunk: Chunk) -> None:
        """The newest chunk, which ``recent`` holds already. Raises ``CaptureError``."""
        if self._open is None:
            return
        if chunk.first <= self._open.end:
            self._write(chunk)
        elif chunk.first > self._open.end + self._recent.span:
            self.close()  # nothing that is told from now on can reach back to it
        if self._open is not None and self._open.keeper.size > self._most // 2:
            self.close()

    def all(self) -> list[Slice]:
        """Those that are gone, too, by number."""
        here = [] if self._open is None else [self._whole(self._open)]
        return sorted([*self._done, *here], key=lambda each: each.id)

    def close(self) -> None:
        """The one that is open is whole."""
        if self._open is not None:
            self._open.keeper.close()
            self._done.append(self._whole(self._open))
            self._open = None

    def _want(self, span: Span, severity: str) -> None:
        """Go on with the open slice where the spans meet, or begin one with what is still in memory."""
        if self._open is not None and span.first > self._open.end:
            self.close()
        if self._open is None:
            self._begin(span, severity)
            return
        current = self._open
        for chunk in self._recent.behind(current.newest):
            if chunk.first <= span.last:
                self._write(chunk)
        current.end = max(current.end, span.last)
        worst = min(current.slice.severity, severity, key=_RANK.index)
        current.slice = replace(current.slice, severity=worst, why=(*current.slice.why, *span.why))

    def _begin(self, span: Span, severity: str) -> None:
        number = len(self._done) + 1
        name = f"slice-{number:04}.pcapng"
        keeper = Keeper(self._folder / name, self._about)
        self._open = _Open(keeper, Slice(number, name, span.last, span.first, severity, span.why, keeper.size), span.last)
        chunks = list(self._recent.since(span.first))
        room = self._most // 4
        for chunk in chunks[self._fitting(chunks, room) :]:
            self._write(chunk)

    @staticmethod
    def _fitting(chunks: Sequence[Chunk], room: int) -> int:
        """From which chunk on the rest fits."""
        for place in range(len(chunks), 0, -1):
            room -= len(chunks[place - 1].blocks)
            if room < 0:
                return place
        return 0

    def _write(self, chunk: Chunk) -> None:
        current = self._open
        assert current is not None
        self._make_room(len(chunk.blocks))
        current.keeper.write_packed(chunk.blocks, chunk.ports)
        with_chunk(current.runs, chunk)
        current.newest = chunk
        current.slice = replace(
            current.slice, first=min(current.slice.first, chunk.first), last=max(current.slice.last, chunk.last),
            bytes=current.keeper.size,
        )  # fmt: skip

    def _whole(self, current: _Open) -> Slice:
        return replace(current.slice, runs=tuple((first, rows) for first, rows in current.runs))

    def _make_room(self, more: int) -> None:
        """For so many bytes."""
        here = sorted((each for each in self._done if each.gone is None), key=lambda each: (-_RANK.index(each.severity), each.id))
        written = more + (0 if self._open is None else self._open.keeper.size)
        while here and sum(each.bytes for each in here) + written > self._most:
            oldest = here.pop(0)
            (self._folder / oldest.file).unlink(missing_ok=True)
            self._done[self._done.index(oldest)] = replace(oldest, bytes=0, runs=(), gone=words.NO_ROOM)
