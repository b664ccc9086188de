"""A journal as a source of the screens, also while a watch writes it. Nothing is written to it, no lock is held between looks."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from ..record.readback import glimpse, packet
from ..record.schema import JournalError
from ..screens.source import Source
from ..story.snapshot import Said, Snapshot, Why
from ..story.spelled import said
from ..words import record as words

EVERY_S = 1.0
SHARE = 4.0
"""A look that took long is followed by a pause of so many times its length."""
QUIET_S = 15.0
"""A watch writes each second; on a busy laptop, or while it sleeps, later."""


class Opened(Source):
    """Looks for news in a thread of its own. Safe from any thread."""

    def __init__(self, path: Path) -> None:
        """Reads it once. Raises ``JournalError``."""
        self._path = path
        self._lock = threading.Lock()
        self._seen: tuple[object, ...] = ()
        self._revision = 0
        self._problem: str | None = None
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._follow, name="following", daemon=True)
        self._seen = self._state()
        self._snapshot, self._facts = glimpse(path)

    def start(self) -> None:
        """Follow it."""
        self._thread.start()

    def close(self) -> None:
        """Follow it no more."""
        self._over.set()
        self._thread.join()

    # ---- what the screens ask for ----

    @property
    def note(self) -> str:
        """Does the watch go on?"""
        if self._problem is not None:
            return self._problem
        if "ended" in self._facts:
            return words.JOURNAL_ENDED
        idle = time.time() - self._touched()
        return words.journal_quiet(idle) if idle > QUIET_S else words.JOURNAL_RUNS

    def snapshot(self) -> Snapshot:
        """As it was written last; while the note counts seconds, each is news."""
        with self._lock:
            note = self.note
            steady = note in (words.JOURNAL_ENDED, words.JOURNAL_RUNS)
            revision = self._revision + (0 if steady else int(time.time()))
            return replace(self._snapshot, revision=revision, live="ended" not in self._facts)

    def why(self, protocol: str, universe: int, see: str | None) -> Why:
        """Not to be told from a journal."""
        return Why(protocol, universe, see, self._snapshot.now, (), words.JOURNAL_NO_WAY)

    def look(self, protocol: str, universe: int, channel: int | None = None) -> None:
        """A journal keeps no levels."""

    def packet(self, number: int) -> Sequence[Said] | None:
        """From the journal, or from the packets beside it."""
        try:
            one = packet(self._path, number)
        except JournalError:
            one = None
        return None if one is None else said(one.packet(0), one.ports[int(one.port[0])].link_type)

    # ---- following ----

    def _follow(self) -> None:
        pause = EVERY_S
        while not self._over.wait(pause):
            pause = EVERY_S
            state = self._state()
            if state == self._seen:
                continue
            begun = time.monotonic()
            self._look(state)
            pause = max(EVERY_S, SHARE * (time.monotonic() - begun))

    def _look(self, state: tuple[object, ...]) -> None:
        try:
            snapshot, facts = glimpse(self._path)
        except JournalError as error:
            with self._lock:
                self._problem = str(error)
            return
        with self._lock:
            self._seen, self._snapshot, self._facts, self._problem = state, snapshot, facts, None
            self._revision += 1

    def _state(self) -> tuple[object, ...]:
        """What changes when something is written: found out without opening the file."""
        return tuple((each.st_mtime_ns, each.st_size) for path in self._files() if (each := _stat(path)) is not None)

    def _touched(self) -> float:
        """s since 1970."""
        return max((each.st_mtime for path in self._files() if (each := _stat(path)) is not None), default=0.0)

    def _files(self) -> tuple[Path, Path]:
        return self._path, self._path.with_name(f"{self._path.name}-wal")


def _stat(path: Path) -> os.stat_result | None:
    try:
        return path.stat()
    except OSError:
        return None
