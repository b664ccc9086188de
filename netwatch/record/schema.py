"""The journal's file: SQLite in WAL mode, known by its application id, its schema versioned and migrated."""

from __future__ import annotations

import errno
import os
import sqlite3
from contextlib import closing
from pathlib import Path

from netwatch.words import record as words
from netwatch.words.hidden import shown

APPLICATION = 0x4E574A31
"""'NWJ1' (sqlite.org/pragma.html#pragma_application_id)."""
LOCKED_MS = 2_000
"""So long a commit waits for another program that holds the file."""
LOG_PAGES = 512
"""After so many pages of 4 KiB the log beside it is written back (sqlite.org/wal.html, 2.1)."""

_FIRST = """
CREATE TABLE fact (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE happening (id INTEGER PRIMARY KEY, at INTEGER NOT NULL, what TEXT NOT NULL, text TEXT NOT NULL, alert INTEGER);
CREATE TABLE alert (
    id INTEGER PRIMARY KEY, code TEXT NOT NULL, severity TEXT NOT NULL, subject TEXT NOT NULL, since INTEGER NOT NULL,
    opened INTEGER NOT NULL, closed INTEGER, body TEXT NOT NULL
);
CREATE TABLE view (
    kind TEXT NOT NULL, key TEXT NOT NULL, place INTEGER NOT NULL, body TEXT NOT NULL, PRIMARY KEY (kind, key)
) WITHOUT ROWID;
CREATE TABLE stream (
    id INTEGER PRIMARY KEY, interface TEXT NOT NULL, vlan INTEGER, protocol TEXT NOT NULL, universe INTEGER NOT NULL,
    source TEXT NOT NULL
);
CREATE TABLE minute (
    at INTEGER NOT NULL, stream INTEGER NOT NULL REFERENCES stream, packets INTEGER NOT NULL, lost INTEGER NOT NULL,
    tens TEXT NOT NULL, PRIMARY KEY (at, stream)
) WITHOUT ROWID;
CREATE TABLE packet (
    n INTEGER PRIMARY KEY, time INTEGER, link INTEGER NOT NULL, wire INTEGER NOT NULL, direction INTEGER NOT NULL,
    data BLOB NOT NULL
);
CREATE TABLE slice (
    id INTEGER PRIMARY KEY, file TEXT NOT NULL, first INTEGER NOT NULL, last INTEGER NOT NULL, severity TEXT NOT NULL,
    why TEXT NOT NULL, bytes INTEGER NOT NULL, gone TEXT
);
"""
_SECOND = """
ALTER TABLE slice ADD COLUMN runs TEXT NOT NULL DEFAULT '[]';
CREATE TABLE segment (
    kind TEXT NOT NULL, id INTEGER NOT NULL, file TEXT NOT NULL, first INTEGER NOT NULL, last INTEGER NOT NULL,
    bytes INTEGER NOT NULL, runs TEXT NOT NULL, gone TEXT, PRIMARY KEY (kind, id)
) WITHOUT ROWID;
"""
MIGRATIONS = (_FIRST, _SECOND)
"""Each brings a journal from the version of its place to the next one."""


class JournalError(Exception):
    """One sentence: what is wrong with a journal, and what to do."""


def created(path: Path) -> sqlite3.Connection:
    """A new journal, readable by its owner alone. Raises ``JournalError``."""
    try:
        _laid_down(path)
        database = sqlite3.connect(path, timeout=LOCKED_MS / 1000, isolation_level=None, check_same_thread=False)
        database.execute("PRAGMA journal_mode = WAL")
        # A commit is on the disk when it returns: what was told is not lost with the battery either.
        database.execute("PRAGMA synchronous = FULL")
        database.execute(f"PRAGMA wal_autocheckpoint = {LOG_PAGES}")
    except (OSError, sqlite3.Error) as error:
        raise JournalError(words.cannot_create(str(path), reason(error))) from None
    return database


def _laid_down(path: Path) -> None:
    """The file comes into being with its tables: nobody finds half of it, and neither does who is killed meanwhile."""
    if path.exists():
        raise FileExistsError(errno.EEXIST, "it exists already")
    new = path.with_name(f".{path.name}.new")
    os.close(os.open(new, os.O_CREAT | os.O_TRUNC | os.O_RDWR, 0o600))
    with closing(sqlite3.connect(new, isolation_level=None)) as database:
        database.execute(f"PRAGMA application_id = {APPLICATION}")
        migrate(database)
    new.rename(path)


def migrate(database: sqlite3.Connection) -> None:
    """To the newest version, each step whole or not at all."""
    for version in range(_version(database), len(MIGRATIONS)):
        database.executescript(f"BEGIN; {MIGRATIONS[version]}; PRAGMA user_version = {version + 1}; COMMIT;")


def opened(path: Path) -> sqlite3.Connection:
    """A journal to read, also while it is being written; an older one as if it were of this version. Raises ``JournalError``."""
    if not path.is_file():
        raise JournalError(words.no_journal(str(path)))
    try:
        return _opened(path)
    except sqlite3.OperationalError as error:
        if "locked" in str(error):
            raise JournalError(words.locked(str(path))) from None
        raise JournalError(words.damaged(str(path), reason(error))) from None
    except (sqlite3.DatabaseError, ValueError) as error:  # a message of SQLite's may itself be no text
        if "not a database" in str(error):
            raise JournalError(words.foreign(str(path))) from None
        raise JournalError(words.damaged(str(path), reason(error))) from None


def _opened(path: Path) -> sqlite3.Connection:
    database = _connected(path)
    try:
        if database.execute("PRAGMA application_id").fetchone()[0] != APPLICATION:
            raise JournalError(words.foreign(str(path)))
        version = _version(database)
        if version < 1:
            raise JournalError(words.damaged(str(path), "it bears no version"))
        if version > len(MIGRATIONS):
            raise JournalError(words.newer(str(path), version, len(MIGRATIONS)))
        if version == len(MIGRATIONS):
            return database
        older, database = database, sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
        with closing(older):
            older.backup(database)
        migrate(database)
    except BaseException:
        database.close()
        raise
    return database


def _connected(path: Path) -> sqlite3.Connection:
    """Read-only; in a folder that can't be written to the file is taken as it stands."""
    uri = path.resolve().as_uri()
    for options in ("mode=ro", "mode=ro&immutable=1"):
        database = sqlite3.connect(
            f"{uri}?{options}", uri=True, timeout=LOCKED_MS / 1000, isolation_level=None, check_same_thread=False
        )
        try:
            database.execute("SELECT count(*) FROM sqlite_master").fetchone()
            return database
        except sqlite3.OperationalError as error:
            database.close()
            if "unable to open" not in str(error) and "readonly" not in str(error):
                raise
    raise sqlite3.OperationalError("it can't be opened")


def _version(database: sqlite3.Connection) -> int:
    return int(database.execute("PRAGMA user_version").fetchone()[0])


def reason(error: Exception) -> str:
    """What the system said, as a part of a sentence."""
    text = " ".join(((error.strerror or "unknown reason") if isinstance(error, OSError) else str(error)).split())
    return shown(text[:1].lower() + text[1:200])
