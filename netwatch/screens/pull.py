"""Pulls pictures in a thread of its own, so that making one never holds up a key."""

from __future__ import annotations

import gc
import sys
import threading
import time
from typing import Any

from textual import work
from textual.app import App
from textual.worker import get_current_worker

from netwatch.screens.source import Source
from netwatch.story.bell import Bell
from netwatch.story.snapshot import Snapshot

PULL_EVERY = 0.25
"""Seconds."""
GIVE_WAY = 0.001
"""Seconds after which a thread that computes lets the one with the keys go on; Python's own 5 ms add up from key to picture."""


class Pull(App[None]):
    """Part of the app."""

    source: Source
    snapshot: Snapshot | None = None
    """What is shown."""
    frozen: bool
    """The picture stands still; the watch goes on."""

    def __init__(self, *, sound: str, ansi_color: bool | None) -> None:
        super().__init__(ansi_color=ansi_color)
        self._bell = Bell(sound) if sound != "never" else None
        self._due = threading.Event()
        self._over = threading.Event()

    def draw(self) -> None:
        """Draw everything."""
        raise NotImplementedError

    def run(self, *args: Any, **options: Any) -> None:
        """As Textual does it, with threads that give way to the keys."""
        before = sys.getswitchinterval()
        sys.setswitchinterval(GIVE_WAY)
        try:
            super().run(*args, **options)
        finally:
            sys.setswitchinterval(before)
            gc.unfreeze()

    def renew(self) -> None:
        """Pull now, not only when it is time again."""
        self._due.set()

    def on_unmount(self) -> None:
        self._over.set()
        self._due.set()

    @work(group="pull", thread=True)
    def pull(self) -> None:
        """Until the end; only what a newer revision brings is drawn."""
        gc.freeze()  # what stays is not searched for garbage again and again, 40 ms at a time in the middle of a key
        worker, due = get_current_worker(), time.monotonic()
        while not self._over.is_set() and not worker.is_cancelled:
            due = max(due + PULL_EVERY, time.monotonic())
            if not self.frozen or self._bell is not None:
                snapshot, shown = self.source.snapshot(), self.snapshot
                rings = self._bell is not None and self._bell.rings(snapshot)
                if rings or shown is None or snapshot.revision != shown.revision:
                    self.call_later(self._take, snapshot, rings)
            self._due.wait(due - time.monotonic())
            self._due.clear()

    def _take(self, snapshot: Snapshot, rings: bool) -> None:
        """A newer picture, and whether it is one to ring for."""
        if rings:
            self.bell()
        if not self.frozen:
            self.snapshot = snapshot
            self.draw()
