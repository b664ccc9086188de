"""Where sessions are kept: a folder each, for their owner alone; old ones go when there are too many."""

from __future__ import annotations

import contextlib
import shutil
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from netwatch import private
from netwatch.record.readback import FILE
from netwatch.record.schema import JournalError, reason
from netwatch.words import record as words

IN_USE_S = 3_600.0
"""A session that was written to within so long may still be running."""


@dataclass(frozen=True, slots=True)
class Old:
    """An earlier session."""

    folder: Path
    bytes: int
    touched: float
    """s since 1970."""


def new_session(root: Path, now: float) -> Path:
    """A new folder, named after the local time ``now`` (s since 1970). Raises ``JournalError``."""
    name = time.strftime("%Y-%m-%d_%H-%M-%S", time.localtime(now))
    try:
        private.folder(root)
        for attempt in range(1, 100):
            folder = root / (name if attempt == 1 else f"{name}_{attempt}")
            with contextlib.suppress(FileExistsError):  # perhaps of another guard that began just now
                folder.mkdir(mode=0o700)
                return folder
    except OSError as error:
        raise JournalError(words.cannot_create(str(root), reason(error))) from None
    raise JournalError(words.cannot_create(str(root), "too many sessions of one second"))


def earlier(root: Path) -> list[Old]:
    """The sessions of a folder, oldest first."""
    found = []
    for folder in root.iterdir() if root.is_dir() else ():
        if (folder / FILE).is_file():
            files = [each.stat() for each in folder.rglob("*") if each.is_file()]
            found.append(Old(folder, sum(each.st_size for each in files), max(each.st_mtime for each in files)))
    return sorted(found, key=lambda each: (each.touched, each.folder))


def make_room(root: Path, most: int, now: float) -> Sequence[Path]:
    """Take the oldest sessions away until all together hold at most ``most`` bytes; those that went."""
    sessions = earlier(root)
    total, gone = sum(each.bytes for each in sessions), []
    for each in sessions:
        if total <= most or now - each.touched < IN_USE_S:
            break
        shutil.rmtree(each.folder, ignore_errors=True)
        total -= each.bytes
        gone.append(each.folder)
    return gone
