"""Keeps a journal within its size: the oldest figures go first, what was told last.

A step takes away about a tenth of what it may; it is repeated until there is room or nothing is left, then comes the next one.
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass, field

FULL, ROOM = 0.9, 0.8
"""From which share of its size on a journal is pruned, and down to which."""
WAL = 4 << 20
"""Bytes of the log beside it: half until it is written back (``schema.LOG_PAGES``), half for one commit."""
FIGURES, HEARD, PACKETS, LINES, ALERTS = "figures", "heard", "packets", "lines", "alerts"
"""Figures of streams; what is heard no longer; packets that alerts rest on; lines about no alert; alerts that are over."""
_SQL = {
    FIGURES: "DELETE FROM minute WHERE at <= (SELECT min(at) + (max(at) - min(at)) / 10 FROM minute)",
    PACKETS: "DELETE FROM packet WHERE n IN (SELECT n FROM packet ORDER BY n LIMIT (SELECT count(*) / 10 + 1 FROM packet))",
    LINES: """DELETE FROM happening WHERE id IN (SELECT id FROM happening WHERE alert IS NULL ORDER BY id
        LIMIT (SELECT count(*) / 10 + 1 FROM happening WHERE alert IS NULL))""",
}
_OVER = """SELECT id FROM alert WHERE closed IS NOT NULL ORDER BY closed, id
LIMIT (SELECT count(*) / 10 + 1 FROM alert WHERE closed IS NOT NULL)"""


@dataclass(slots=True)
class Taken:
    """What went: rows by name, and the ids of alerts."""

    rows: Counter[str] = field(default_factory=Counter)
    alerts: set[int] = field(default_factory=set)


def used(database: sqlite3.Connection) -> int:
    """Bytes inside the file that are not free, as the transaction sees it."""
    pages, free, size = (
        int(database.execute(f"PRAGMA {name}").fetchone()[0]) for name in ("page_count", "freelist_count", "page_size")
    )
    return (pages - free) * size


def prune(database: sqlite3.Connection, most: int, old: Collection[tuple[str, str]]) -> Taken:
    """Until there is room in ``most`` bytes. ``old`` = (kind, key) of views that are heard no longer. Inside a transaction."""
    taken = Taken()
    for name in (FIGURES, HEARD, PACKETS, LINES, ALERTS):
        while used(database) > ROOM * most:
            rows = _step(database, name, old, taken)
            taken.rows[name] += rows
            if not rows:
                break
    return taken


def _step(database: sqlite3.Connection, name: str, old: Collection[tuple[str, str]], taken: Taken) -> int:
    if name == HEARD:
        return forget(database, old)
    if name != ALERTS:
        return database.execute(_SQL[name]).rowcount
    over = list(database.execute(_OVER))
    for table, column in (("happening", "alert"), ("alert", "id")):
        database.executemany(f"DELETE FROM {table} WHERE {column} = ?", over)
    taken.alerts.update(id for (id,) in over)
    return len(over)


def forget(database: sqlite3.Connection, old: Collection[tuple[str, str]]) -> int:
    """All that is heard no longer, for nobody knows what was heard last; segments that are gone say nothing any more either."""
    before = database.total_changes
    database.executemany("DELETE FROM view WHERE kind = ? AND key = ?", old)
    database.execute("DELETE FROM segment WHERE gone IS NOT NULL")
    return database.total_changes - before
