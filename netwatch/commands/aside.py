"""A thread for what looks at a session now and then: the listening thread must not wait for a battery or a large picture."""

from __future__ import annotations

import threading
from collections.abc import Callable

EVERY_S = 0.5


class Aside:
    """Calls each of them, one after the other, until ``close``."""

    def __init__(self, *looks: Callable[[], None]) -> None:
        self._looks = looks
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="aside", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """No more looks."""
        self._over.set()
        self._thread.join()

    def _run(self) -> None:
        while not self._over.wait(EVERY_S):
            for look in self._looks:
                look()
