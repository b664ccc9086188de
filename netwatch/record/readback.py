"""A journal read back into the story's types, also while it is being written."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

from netwatch.packets.batch import BatchBuilder, FileSeen, PacketBatch, Port
from netwatch.record.journal import Slice
from netwatch.record.plain import Unreadable, made, unpacked
from netwatch.record.schema import JournalError, opened, reason
from netwatch.story.course import Minute, course_of
from netwatch.story.evening import Evening
from netwatch.story.light_views import WinnerView
from netwatch.story.snapshot import (
    AlertView,
    Check,
    Ending,
    GroupView,
    Happening,
    HostView,
    Limit,
    Listening,
    LoadView,
    MarkView,
    NodeView,
    QuerierView,
    ServerView,
    Snapshot,
    StreamView,
)
from netwatch.words import record as words

FILE = "journal.sqlite"
"""Its name in a session's folder."""
_VIEWS: dict[str, type[Any]] = {
    "listening": Listening, "limits": Limit, "checks": Check, "loads": LoadView, "streams": StreamView, "hosts": HostView,
    "servers": ServerView, "queriers": QuerierView, "nodes": NodeView, "groups": GroupView, "winners": WinnerView,
    "endings": Ending, "marks": MarkView,
}  # fmt: skip


def journal_in(path: Path) -> Path | None:
    """The journal that a path names: a session's folder, or the file itself; None = it names none."""
    if path.is_dir():
        return path / FILE if (path / FILE).exists() else None
    return path if path.suffix == ".sqlite" else None


def read(path: Path) -> Evening:
    """The whole session. Raises ``JournalError``."""
    with closing(opened(path)) as database:
        try:
            database.execute("BEGIN")  # one moment of it, while it is being written
            snapshot = _snapshot(database)
            minutes = list(_minutes(database))
            return Evening(snapshot, [FileSeen(str(path))], course_of(minutes), _packets(database), _lacks(database, snapshot))
        except (sqlite3.DatabaseError, Unreadable) as error:
            raise JournalError(words.damaged(str(path), reason(error))) from None


def facts(path: Path) -> dict[str, Any]:
    """What the session says of itself. Raises ``JournalError``."""
    with closing(opened(path)) as database:
        try:
            return {name: json.loads(value) for name, value in database.execute("SELECT name, value FROM fact")}
        except (sqlite3.DatabaseError, ValueError) as error:
            raise JournalError(words.damaged(str(path), reason(error))) from None


def slices(path: Path) -> list[Slice]:
    """The slices beside it, those that are gone too. Raises ``JournalError``."""
    with closing(opened(path)) as database:
        try:
            rows = database.execute("SELECT id, file, first, last, severity, why, bytes, gone FROM slice ORDER BY id").fetchall()
            return [
                Slice(id, file, first, last, severity, tuple(json.loads(why)), size, gone)
                for id, file, first, last, severity, why, size, gone in rows
            ]
        except (sqlite3.DatabaseError, ValueError) as error:
            raise JournalError(words.damaged(str(path), reason(error))) from None


def _lacks(database: sqlite3.Connection, snapshot: Snapshot) -> tuple[str, ...]:
    """What the recording lacks."""
    known = {name: json.loads(value) for name, value in database.execute("SELECT name, value FROM fact WHERE name != 'snapshot'")}
    gone = database.execute("SELECT file, gone FROM slice WHERE gone != '' ORDER BY id").fetchall()
    return tuple(text for text in (
        "" if "ended" in known else words.NO_END, words.gave_way(known["given up"]) if known.get("given up") else "",
        words.slices_gone(gone) if gone else "",
    ) if text)  # fmt: skip


def _snapshot(database: sqlite3.Connection) -> Snapshot:
    row = database.execute("SELECT value FROM fact WHERE name = 'snapshot'").fetchone()
    own = json.loads(row[0]) if row else _NOTHING
    if not isinstance(own, dict):
        raise Unreadable("no snapshot")
    lists: dict[str, list[Any]] = {kind: [] for kind in _VIEWS}
    for kind, body in database.execute("SELECT kind, body FROM view ORDER BY kind, place, key"):
        if kind in _VIEWS:
            lists[kind].append(unpacked(_VIEWS[kind], body))
    alerts = [unpacked(AlertView, body) for (body,) in database.execute("SELECT body FROM alert ORDER BY id")]
    told = database.execute("SELECT at, what, text, alert FROM happening ORDER BY id")
    happenings = [Happening(*row) for row in told]
    empty: dict[str, Any] = {kind: [] for kind in (*_VIEWS, "alerts", "happenings")}
    bare = made(Snapshot, {**own, **empty, "live": False})
    whole: dict[str, Any] = {name: tuple(found) for name, found in lists.items()}
    return replace(bare, **whole, alerts=tuple(alerts), happenings=tuple(happenings))


_NOTHING: dict[str, Any] = {
    "revision": 0, "now": 0, "first": None, "last": None, "packets": 0, "bytes": 0, "dropped": 0, "phase": "building",
    "live": True, "undecoded": {}, "settings": {},
}  # fmt: skip
"""Of a session that ended before its first second."""


def _minutes(database: sqlite3.Connection) -> Iterator[Minute]:
    streams = {id: tuple(place) for id, *place in database.execute("SELECT * FROM stream")}
    rows: list[tuple[Any, ...]] = []
    begin = None
    for at, stream, lost, tens in database.execute("SELECT at, stream, lost, tens FROM minute ORDER BY at, stream"):
        if begin is not None and at != begin:
            yield Minute(begin, tuple(rows))
            rows = []
        begin = at
        if stream not in streams:
            raise Unreadable("a minute of no stream")
        rows.append((streams[stream], tuple(json.loads(tens)), lost))
    if begin is not None:
        yield Minute(begin, tuple(rows))


def _packets(database: sqlite3.Connection) -> dict[int, PacketBatch]:
    found = {}
    for n, time, link, wire, direction, data in database.execute("SELECT * FROM packet"):
        builder = BatchBuilder((Port("journal", link),), n)
        builder.add(data, time or 0, 0, direction, wire)
        found[n] = builder.take()
    return found
