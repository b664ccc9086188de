"""Slices of a capture: the minute before and after each alert and mark, and every packet that an alert rests on.

Before its span a slice holds all that the rig said but the levels: without who asked for what, and who was there, a replay would
find something else. Deciding packets carry a comment. Where spans overlap, one slice serves both.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from netwatch.decode.columns import decode
from netwatch.network.clock import FoldClock
from netwatch.packets.batch import Item, Mark, PacketBatch
from netwatch.packets.keep import Keeper
from netwatch.record.cutting import Cutter, talk
from netwatch.story.snapshot import Snapshot
from netwatch.words import record as words

Rows: TypeAlias = npt.NDArray[np.bool_]

NS = 1_000_000_000
SEVERE = ("now", "soon")


@dataclass(frozen=True, slots=True)
class Span:
    """From when to when (ns), and what it is kept for."""

    first: int
    last: int
    why: tuple[str, ...]


def spans(snapshot: Snapshot, around: int) -> list[Span]:
    """Around the alerts at 'now' or 'soon' and the marks, ``around`` ns each way; those that overlap as one."""
    wanted = [
        Span(alert.since - around, alert.opened + around, (words.of_alert(alert.id, alert.code),))
        for alert in snapshot.alerts
        if alert.severity in SEVERE
    ]
    wanted += [Span(h.at - around, h.at + around, (words.of_mark(h.text),)) for h in snapshot.happenings if h.what == "word"]
    out: list[Span] = []
    for span in sorted(wanted, key=lambda each: (each.first, each.last)):
        if out and span.first <= out[-1].last:
            out[-1] = Span(out[-1].first, max(out[-1].last, span.last), (*out[-1].why, *span.why))
        else:
            out.append(span)
    return out


def comments(snapshot: Snapshot) -> dict[int, str]:
    """What stands beside each packet that an alert at 'now' or 'soon' rests on."""
    found: dict[int, list[str]] = {}
    for alert in snapshot.alerts:
        if alert.severity in SEVERE:
            for n in alert.packets:
                found.setdefault(n, []).append(words.of_alert(alert.id, alert.code))
    return {n: words.deciding(n, why) for n, why in found.items()}


def write_slices(
    items: Iterable[Item], wanted: Sequence[Span], said: Mapping[int, str], folder: Path, cutter: Cutter, clock: FoldClock
) -> list[Path]:
    """Slices of a whole session by fold time (``clock`` is a new one). Files in order; raises ``CaptureError``."""
    writers = [_Writer(folder / f"slice-{place:02}.pcapng", span, said, cutter) for place, span in enumerate(wanted, 1)]
    rest = _Writer(folder / "older-packets.pcapng", None, said, cutter)
    try:
        for item in items:
            if isinstance(item, Mark):
                at, _ = clock.mark(item)
                for writer in writers:
                    writer.mark(item, at)
                continue
            time, _ = clock.batch(item) if item.rows else (item.time, [])
            said_by_rig, taken = talk(decode(item)), np.zeros(item.rows, bool)
            for writer in writers:
                taken |= writer.batch(item, time, said_by_rig)
            rest.only(item, taken)
    finally:
        for writer in (*writers, rest):
            writer.close()
    return [writer.path for writer in (*writers, rest) if writer.path.exists()]


class _Writer:
    """One slice; its file is made with its first packet."""

    def __init__(self, path: Path, span: Span | None, said: Mapping[int, str], cutter: Cutter) -> None:
        self.path, self._span, self._said = path, span, said
        self._cutter = Cutter(whole=True if span is None else cutter.whole, headers_only=cutter.headers_only)
        self._keeper: Keeper | None = None

    def mark(self, mark: Mark, at: int) -> None:
        """A mark, unless it comes behind the span."""
        if self._span is not None and at <= self._span.last:
            self._open().write(mark)

    def batch(self, batch: PacketBatch, time: npt.NDArray[np.int64], talk: Rows) -> Rows:
        """The rows in the span, and what the rig said before it; which these were."""
        assert self._span is not None
        mine = ((time >= self._span.first) | talk) & (time <= self._span.last)
        if mine.any():
            self._write(batch, mine)
        return mine

    def only(self, batch: PacketBatch, taken: Rows) -> None:
        """The deciding packets that no span holds."""
        rows = [n - batch.first for n in self._said if batch.first <= n < batch.first + batch.rows and not taken[n - batch.first]]
        if rows:
            mine = np.zeros(batch.rows, bool)
            mine[rows] = True
            self._write(batch, mine)

    def close(self) -> None:
        if self._keeper is not None:
            self._keeper.close()

    def _write(self, batch: PacketBatch, mine: Rows) -> None:
        rows = np.flatnonzero(mine)
        some = batch.chosen(rows)
        told = {place: self._said[n] for place, n in enumerate((batch.first + rows).tolist()) if n in self._said}
        self._open().write(self._cutter.cut(some, decode(some), told), told)

    def _open(self) -> Keeper:
        if self._keeper is None:
            about = words.slice_of(() if self._span is None else self._span.why, self._cutter.whole, self._cutter.headers_only)
            self._keeper = Keeper(self.path, about)
        return self._keeper
