"""A keeper with a thread of its own, so that a disk that pauses does not hold up whoever listens."""

from __future__ import annotations

import threading
from collections import deque

from .batch import Item, PacketBatch
from .keep import Keeper
from .stream import CaptureError

MOST_WAITING = 256 << 20
"""Bytes of packets that wait for the disk: two seconds of a full gigabit link. Then whoever listens waits, too: all is kept."""


class KeptBeside:
    """Takes items, writes them in order. A ``CaptureError`` is raised at the next item, or told by ``problem``."""

    def __init__(self, keeper: Keeper) -> None:
        self.problem: str | None = None
        """Why writing stopped."""
        self._keeper = keeper
        self._items: deque[Item] = deque()
        self._waiting = 0
        self._ended = False
        self._moved = threading.Condition()
        self._thread = threading.Thread(target=self._write, name="keeping", daemon=True)
        self._thread.start()

    def write(self, item: Item) -> None:
        """Have an item written soon."""
        size = _size(item)
        with self._moved:
            while self.problem is None and self._waiting and self._waiting + size > MOST_WAITING:
                self._moved.wait()
            if self.problem is not None:
                raise CaptureError(self.problem)
            self._items.append(item)
            self._waiting += size
            self._moved.notify_all()

    def close(self) -> None:
        """Write what waits, and close the file."""
        with self._moved:
            self._ended = True
            self._moved.notify_all()
        self._thread.join()
        self._keeper.close()

    def _write(self) -> None:
        while (item := self._next()) is not None:
            try:
                self._keeper.write(item)
            except CaptureError as error:
                with self._moved:
                    self.problem = str(error)
                    self._items.clear()
                    self._moved.notify_all()
                return
            with self._moved:
                self._waiting -= _size(item)
                self._moved.notify_all()

    def _next(self) -> Item | None:
        with self._moved:
            while not self._items and not self._ended:
                self._moved.wait()
            return self._items.popleft() if self._items else None


def _size(item: Item) -> int:
    return item.data.nbytes if isinstance(item, PacketBatch) else 0
