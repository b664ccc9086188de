"""A journal read back into the story's types, also while it is being written."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from netwatch.decode.text import visible
from netwatch.packets.batch import BatchBuilder, FileSeen, PacketBatch, Port
from netwatch.record.journal import Slice
from netwatch.record.packets_back import found
from netwatch.record.plain import Unreadable, loaded, made, unpacked
from netwatch.record.rolling import Segment
from netwatch.record.schema import JournalError, opened, reason
from netwatch.record.sound import late, untold
from netwatch.story.course import Minute, course_of
from netwatch.story.evening import Evening
from netwatch.story.light_views import WinnerView
from netwatch.story.snapshot import (
    AlertView,
    BridgeView,
    Check,
    Ending,
    GroupView,
    Happening,
    HostView,
    Limit,
    Listening,
    LoadView,
    MarkView,
    NeighbourView,
    NodeView,
    QuerierView,
    ServerView,
    Snapshot,
    StreamView,
)
from netwatch.words import PROTOCOL
from netwatch.words import record as words

T = TypeVar("T")

FILE = "journal.sqlite"
"""Its name in a session's folder."""
_VIEWS: dict[str, type[Any]] = {
    "listening": Listening, "limits": Limit, "checks": Check, "loads": LoadView, "streams": StreamView, "hosts": HostView,
    "servers": ServerView, "queriers": QuerierView, "nodes": NodeView, "groups": GroupView, "winners": WinnerView,
    "endings": Ending, "marks": MarkView, "neighbours": NeighbourView, "bridges": BridgeView,
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
            packets = _packets(database)
            beside: list[Slice | Segment] = [*_slices(database), *_segments(database)]
            lacks = _lacks(database, beside)
        except (sqlite3.DatabaseError, ValueError, TypeError, RecursionError, Unreadable) as error:
            raise JournalError(words.damaged(str(path), reason(error))) from None
    wanted = {n for alert in snapshot.alerts for n in alert.packets}
    more = found(path.parent, beside, wanted)
    return Evening(
        snapshot, [FileSeen(str(path))], course_of(minutes), {**packets, **{n: one for n, (one, _, _) in more.items()}},
        {n: (file, place) for n, (_, file, place) in more.items()}, lacks,
    )  # fmt: skip


def glimpse(path: Path) -> tuple[Snapshot, dict[str, Any]]:
    """The picture as it stands there now, and what the session says of itself. Raises ``JournalError``."""
    def both(database: sqlite3.Connection) -> tuple[Snapshot, dict[str, Any]]:
        database.execute("BEGIN")  # one moment of it, while it is being written
        return _snapshot(database), _facts(database)

    return _read(path, both)


def packet(path: Path, n: int) -> PacketBatch | None:
    """A packet that an alert rests on, as a batch of one row; None where it was not kept. Raises ``JournalError``."""
    here = _read(path, _packets).get(n)
    if here is not None:
        return here
    one = found(path.parent, _read(path, lambda database: [*_slices(database), *_segments(database)]), {n}).get(n)
    return None if one is None else one[0]


def facts(path: Path) -> dict[str, Any]:
    """What the session says of itself. Raises ``JournalError``."""
    return _read(path, _facts)


def slices(path: Path) -> list[Slice]:
    """The slices beside it, those that are gone too. Raises ``JournalError``."""
    return _read(path, _slices)


def segments(path: Path) -> list[Segment]:
    """What rolled beside it, by kind and number. Raises ``JournalError``."""
    return _read(path, _segments)


def _read(path: Path, what: Callable[[sqlite3.Connection], T]) -> T:
    with closing(opened(path)) as database:
        try:
            return what(database)
        except (sqlite3.DatabaseError, ValueError, TypeError, RecursionError, Unreadable) as error:
            raise JournalError(words.damaged(str(path), reason(error))) from None


def _facts(database: sqlite3.Connection) -> dict[str, Any]:
    rows = database.execute("SELECT name, value FROM fact WHERE name != 'snapshot'")
    return {name: loaded(value) for name, value in rows}


def _slices(database: sqlite3.Connection) -> list[Slice]:
    rows = database.execute("SELECT id, file, first, last, severity, why, bytes, gone, runs FROM slice ORDER BY id")
    return [
        Slice(
            _whole(id), _file(file), _whole(first), _whole(last), _text(severity), _texts(why), _whole(size), _gone(gone),
            _runs(runs),
        )
        for id, file, first, last, severity, why, size, gone, runs in rows
    ]  # fmt: skip


def _segments(database: sqlite3.Connection) -> list[Segment]:
    rows = database.execute("SELECT id, kind, file, first, last, bytes, runs, gone FROM segment ORDER BY kind, id")
    return [
        Segment(_whole(id), _text(kind), _file(file), _whole(first), _whole(last), _whole(size), _runs(runs), _gone(gone))
        for id, kind, file, first, last, size, runs, gone in rows
    ]


def _file(name: object) -> str:
    """A name of a file in the session's folder, never one elsewhere."""
    if not isinstance(name, str) or not name or Path(name).name != name or visible(name) != name:
        raise Unreadable("no name of a file")
    return name


def _text(value: object) -> str:
    """Whoever wrote it: hidden characters are seen."""
    return visible(str(value))


def _gone(why: object) -> str | None:
    return None if why is None else _text(why)


def _texts(text: str) -> tuple[str, ...]:
    found = loaded(text)
    return tuple(_text(each) for each in found) if isinstance(found, list) else ()


def _runs(text: str) -> tuple[tuple[int, int], ...]:
    found = loaded(text)
    if not isinstance(found, list) or not all(isinstance(run, list) and len(run) == 2 for run in found):
        raise Unreadable("no runs of packets")
    return tuple((_whole(first), _whole(rows)) for first, rows in found)


def _lacks(database: sqlite3.Connection, beside: list[Slice | Segment]) -> tuple[str, ...]:
    """What the recording lacks."""
    known = _facts(database)
    gone = [(each.file, each.gone) for each in beside if isinstance(each, Slice) and each.gone]
    return tuple(text for text in (
        "" if "ended" in known else words.NO_END, words.gave_way(known["given up"]) if known.get("given up") else "",
        words.slices_gone(gone) if gone else "", words.taken(known["taken"]) if isinstance(known.get("taken"), dict) else "",
    ) if text)  # fmt: skip


def _snapshot(database: sqlite3.Connection) -> Snapshot:
    row = database.execute("SELECT value FROM fact WHERE name = 'snapshot'").fetchone()
    own = loaded(row[0]) if row else _NOTHING
    if not isinstance(own, dict):
        raise Unreadable("no snapshot")
    lists: dict[str, list[Any]] = {kind: [] for kind in _VIEWS}
    for kind, body in database.execute("SELECT kind, body FROM view ORDER BY kind, place, key"):
        if kind in _VIEWS:
            lists[kind].append(unpacked(_VIEWS[kind], body))
    alerts = [_alert(body) for (body,) in database.execute("SELECT body FROM alert ORDER BY id")]
    told = database.execute("SELECT at, what, text, alert FROM happening ORDER BY id")
    happenings = [
        Happening(_time(at), _text(what), _text(text), None if id is None else _whole(id)) for at, what, text, id in told
    ]
    empty: dict[str, Any] = {kind: [] for kind in (*_VIEWS, "alerts", "happenings")}
    bare = made(Snapshot, {**own, **empty, "live": False})
    whole: dict[str, Any] = {name: tuple(found) for name, found in lists.items()}
    return replace(bare, **whole, alerts=tuple(alerts), happenings=tuple(happenings))


def _alert(body: str) -> AlertView:
    found = unpacked(AlertView, body)
    if slip := untold(found.code, found.facts):
        raise Unreadable(slip)
    return found


_NOTHING: dict[str, Any] = {
    "revision": 0, "now": 0, "first": None, "last": None, "packets": 0, "bytes": 0, "dropped": 0, "phase": "building",
    "live": True, "undecoded": {}, "settings": {},
}  # fmt: skip
"""Of a session that ended before its first second."""


def _minutes(database: sqlite3.Connection) -> Iterator[Minute]:
    known = database.execute("SELECT id, interface, vlan, protocol, universe, source FROM stream")
    streams = {row[0]: _place(row) for row in known}
    rows: list[tuple[Any, ...]] = []
    begin = None
    for at, stream, lost, tens in database.execute("SELECT at, stream, lost, tens FROM minute ORDER BY at, stream"):
        if begin is not None and at != begin:
            yield Minute(begin, tuple(rows))
            rows = []
        begin = _time(at)
        if stream not in streams:
            raise Unreadable("a minute of no stream")
        rows.append((streams[stream], tuple(map(_whole, loaded(tens))), _whole(lost)))
    if begin is not None:
        yield Minute(begin, tuple(rows))


def _place(row: tuple[Any, ...]) -> tuple[str, int | None, str, int, str]:
    _, interface, vlan, protocol, universe, source = row
    if protocol not in PROTOCOL:
        raise Unreadable("a stream of no protocol")
    return _text(interface), None if vlan is None else _whole(vlan), str(protocol), _whole(universe), _text(source)


def _whole(value: object) -> int:
    """A number, where one must stand. Raises ``Unreadable``."""
    if type(value) is not int:
        raise Unreadable("a number is none")
    return value


def _time(value: object) -> int:
    """Ns since 1970, of a year that can be shown. Raises ``Unreadable``."""
    if slip := late(found := _whole(value)):
        raise Unreadable(slip)
    return found


def _packets(database: sqlite3.Connection) -> dict[int, PacketBatch]:
    found = {}
    for n, time, link, wire, direction, data in database.execute("SELECT n, time, link, wire, direction, data FROM packet"):
        builder = BatchBuilder((Port("journal", _whole(link)),), _whole(n))
        if not isinstance(data, bytes):
            raise Unreadable("a packet without bytes")
        length = max(_whole(wire) & 0x7FFFFFFF, len(data))
        builder.add(data, 0 if time is None else _whole(time), 0, _whole(direction) & 3, length)
        found[n] = builder.take()
    return found
