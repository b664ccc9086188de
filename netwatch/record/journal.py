"""Writes a session down. One thread uses it; each ``commit`` is on the disk when it returns."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from netwatch.packets.batch import PacketBatch
from netwatch.record.plain import packed
from netwatch.record.pruning import FULL, HEARD, WAL, Taken, forget, prune, used
from netwatch.record.rolling import Segment
from netwatch.record.schema import created
from netwatch.story.course import Minute
from netwatch.story.snapshot import AlertView, Happening, Snapshot

KEYS: Mapping[str, tuple[str, ...]] = {
    "listening": ("interface",), "limits": ("table",), "checks": ("name",), "loads": ("interface", "vlan", "kind"),
    "streams": ("interface", "vlan", "protocol", "universe", "source"), "hosts": ("interface", "vlan", "mac"),
    "servers": ("interface", "vlan", "address"), "queriers": ("interface", "vlan", "address"),
    "nodes": ("interface", "vlan", "mac", "address", "name", "outputs"), "groups": ("interface", "vlan", "group"),
    "neighbours": ("interface", "vlan", "mac", "chassis", "port"),
    "bridges": ("interface", "vlan", "mac", "root", "bridge", "port"),
    "winners": ("interface", "vlan", "protocol", "universe"), "marks": ("at", "word"),
    "endings": ("interface", "vlan", "what", "name", "subject"),
}  # fmt: skip
"""Lists of a snapshot that are kept, and what tells their entries apart."""
KEPT = frozenset({"streams", "hosts", "servers", "queriers", "nodes", "neighbours", "bridges", "listening", "limits", "loads"})
"""What was once heard stays in the journal; entries of the other lists go with the picture."""
MOST_VIEWS = 65_536
"""Entries that are remembered, so that only what changed is written: some 50 MB. Beyond it what is heard no longer goes."""
_APART = frozenset({*KEYS, "alerts", "happenings", "levels", "frames", "why"})
"""Fields of a snapshot that don't stand in its own row."""


@dataclass(frozen=True, slots=True)
class Slice:
    """A slice of packets beside the journal. Times in ns; ``gone`` = why it is no longer there."""

    id: int
    file: str
    first: int
    last: int
    severity: str
    why: tuple[str, ...]
    bytes: int
    gone: str | None = None
    runs: tuple[tuple[int, int], ...] = ()
    """Numbers of its packets: (first, how many)."""


class Journal:
    """The tables of one session; nothing is there for others before ``commit``. Raises ``sqlite3.Error``."""

    def __init__(self, path: Path, most: int | None = None) -> None:
        """Makes a new file, which is kept within ``most`` bytes, its log included. Raises ``JournalError``."""
        self.path = path
        self._most = None if most is None else most - WAL
        self._database = created(path)
        self._happenings = 0
        self._streams: dict[tuple[Any, ...], int] = {}
        self._views: dict[tuple[str, str], tuple[int, str]] = {}
        """What was written last, by kind and key."""
        self._slices: dict[int, Slice] = {}
        self._segments: dict[tuple[str, int], Segment] = {}
        self._here: set[tuple[str, str]] = set()
        """Views of the newest picture."""
        self._taken = Taken()
        """What had to go to make room."""
        self._hours = 0
        """ns of figures that went."""
        self._sure: tuple[int, dict[tuple[Any, ...], int]] = (0, {})
        """Happenings and streams as of the last commit."""

    # ---- what is written ----

    def facts(self, facts: Mapping[str, Any]) -> None:
        """Facts of the session by name: plain values."""
        rows = [(name, json.dumps(value)) for name, value in facts.items()]
        self._many("INSERT OR REPLACE INTO fact VALUES (?, ?)", rows)

    def happened(self, lines: Sequence[Happening]) -> None:
        """What happened, in order."""
        rows = [(self._happenings + place, h.at, h.what, h.text, h.alert) for place, h in enumerate(lines, 1)]
        self._many("INSERT INTO happening VALUES (?, ?, ?, ?, ?)", rows)
        self._happenings += len(lines)

    def alerts(self, alerts: Iterable[AlertView]) -> None:
        """As they stand now."""
        rows = [
            (a.id, a.code, a.severity, a.subject, a.since, a.opened, a.closed, packed(a))
            for a in alerts if a.id not in self._taken.alerts
        ]  # fmt: skip
        self._many("INSERT OR REPLACE INTO alert VALUES (?, ?, ?, ?, ?, ?, ?, ?)", rows)

    def packets(self, found: Mapping[int, PacketBatch]) -> None:
        """Packets that alerts rest on: batches of one row, by number."""
        rows = [
            (n, int(one.time[0]), one.ports[int(one.port[0])].link_type, int(one.wirelen[0]), int(one.direction[0]),
             one.packet(0))
            for n, one in found.items()
        ]  # fmt: skip
        self._many("INSERT OR REPLACE INTO packet VALUES (?, ?, ?, ?, ?, ?)", rows)

    def minutes(self, minutes: Iterable[Minute]) -> None:
        """Figures of each stream; a minute that was written before is written anew."""
        rows = [
            (minute.at, self._stream(place), sum(tens), lost, json.dumps(tens))
            for minute in minutes for place, tens, lost in minute.rows
        ]  # fmt: skip
        self._many("INSERT OR REPLACE INTO minute VALUES (?, ?, ?, ?, ?)", rows)

    def slices(self, found: Iterable[Slice]) -> None:
        """All of them, as they stand now."""
        changed = [each for each in found if self._slices.get(each.id) != each]
        rows = [
            (s.id, s.file, s.first, s.last, s.severity, json.dumps(s.why), s.bytes, s.gone, json.dumps(s.runs)) for s in changed
        ]
        self._many("INSERT OR REPLACE INTO slice VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", rows)
        self._slices.update({each.id: each for each in changed})

    def segments(self, found: Sequence[Segment]) -> None:
        """Of what rolls: all of them, as they stand now."""
        changed = [each for each in found if self._segments.get((each.kind, each.id)) != each]
        rows = [(s.kind, s.id, s.file, s.first, s.last, s.bytes, json.dumps(s.runs), s.gone) for s in changed]
        self._many("INSERT OR REPLACE INTO segment VALUES (?, ?, ?, ?, ?, ?, ?, ?)", rows)
        self._segments = {(each.kind, each.id): each for each in found}

    def news(self, snapshot: Snapshot) -> None:
        """The snapshot's own figures, and what is heard for the first time."""
        self._state(snapshot)
        self._write_views([row for row in _rows(snapshot) if row[:2] not in self._views])

    def picture(self, snapshot: Snapshot) -> None:
        """All of it, alerts included."""
        self._state(snapshot)
        rows = _rows(snapshot)
        self._write_views([row for row in rows if self._views.get(row[:2]) != row[2:]])
        self._here = here = {row[:2] for row in rows}
        gone = [key for key in self._views if key[0] not in KEPT and key not in here]
        self._many("DELETE FROM view WHERE kind = ? AND key = ?", gone)
        for key in gone:
            del self._views[key]
        self.alerts(snapshot.alerts)

    def make_room(self) -> None:
        """Where it gets too large the oldest goes, in the same commit as what was written just now."""
        full = self._most is not None and used(self._database) > FULL * self._most
        if not full and len(self._views) <= MOST_VIEWS:
            return
        if not self._database.in_transaction:
            self._database.execute("BEGIN IMMEDIATE")
        old = [key for key in self._views if key not in self._here]
        taken, first = Taken(), self._first_figures()
        if self._most is not None and full:
            taken = prune(self._database, self._most, old)
        if not taken.rows[HEARD]:
            taken.rows[HEARD] += forget(self._database, old) if len(self._views) > MOST_VIEWS else 0
        for key in old if taken.rows[HEARD] else ():
            del self._views[key]
        self._taken.rows += taken.rows
        self._taken.alerts |= taken.alerts
        self._hours += (self._first_figures() or first or 0) - (first or 0)
        self.facts({"taken": {**self._taken.rows, "figures ns": self._hours}})

    def _first_figures(self) -> int | None:
        """ns at which the oldest figures begin."""
        at: int | None = self._database.execute("SELECT min(at) FROM minute").fetchone()[0]
        return at

    def commit(self) -> None:
        """All since the last one, or nothing of it. What fails may be tried again after ``undo``."""
        if self._database.in_transaction:
            self._database.execute("COMMIT")
        self._sure = self._happenings, dict(self._streams)

    def undo(self) -> None:
        """Nothing since the last commit was written; all that is remembered of it is forgotten."""
        if self._database.in_transaction:
            self._database.execute("ROLLBACK")
        self._happenings, self._streams = self._sure[0], dict(self._sure[1])
        self._views.clear()
        self._slices.clear()
        self._segments.clear()

    def close(self) -> None:
        """The file alone then holds all of it, also for who may only read it."""
        with contextlib.suppress(sqlite3.Error):  # somebody reads it just now: it stays as it is, and is as good
            self._database.execute("PRAGMA journal_mode = DELETE")
        self._database.close()

    # ---- how ----

    def _many(self, sql: str, rows: Sequence[Sequence[Any]]) -> None:
        if not rows:
            return
        if not self._database.in_transaction:
            self._database.execute("BEGIN IMMEDIATE")
        self._database.executemany(sql, rows)

    def _state(self, snapshot: Snapshot) -> None:
        own = {each.name: getattr(snapshot, each.name) for each in fields(snapshot) if each.name not in _APART}
        self._many("INSERT OR REPLACE INTO fact VALUES (?, ?)", [("snapshot", packed(own))])

    def _stream(self, place: tuple[Any, ...]) -> int:
        known = self._streams.get(place)
        if known is None:
            known = self._streams[place] = len(self._streams) + 1
            self._many("INSERT INTO stream VALUES (?, ?, ?, ?, ?, ?)", [(known, *place)])
        return known

    def _write_views(self, rows: Sequence[tuple[str, str, int, str]]) -> None:
        self._many("INSERT OR REPLACE INTO view VALUES (?, ?, ?, ?)", rows)
        for kind, key, place, body in rows:
            self._views[kind, key] = place, body


def _rows(snapshot: Snapshot) -> list[tuple[str, str, int, str]]:
    """(kind, key, place, body) of all lists that are kept."""
    return [
        (kind, json.dumps([getattr(view, name) for name in names]), place, packed(view))
        for kind, names in KEYS.items() for place, view in enumerate(getattr(snapshot, kind))
    ]  # fmt: skip

