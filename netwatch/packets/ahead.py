"""Reading ahead in a thread of its own, while what was read before is worked on.

Worth it only where reading takes long and holds no lock of Python's meanwhile, as unpacking does.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from queue import SimpleQueue

SIZE = 4 << 20
"""Bytes of a piece: few, so that the thread seldom asks for Python's lock."""
PIECES = 2
"""That wait at most."""


class Ahead:
    """``read(most)`` gives the next bytes, none at the end. What it raises is raised behind what came before."""

    def __init__(self, read: Callable[[int], bytes], close: Callable[[], None]) -> None:
        """``close`` is called in the thread, once nothing is read any more."""
        self._read, self._close = read, close
        self._piece = memoryview(b"")
        self._ended = False
        self._places: SimpleQueue[bool] = SimpleQueue()
        """True = there is room for one more piece, False = read no more."""
        self._pieces: SimpleQueue[bytes | BaseException] = SimpleQueue()
        for _ in range(PIECES):
            self._places.put(True)
        threading.Thread(target=self._run, name="reading ahead", daemon=True).start()

    def readinto(self, view: memoryview) -> int:
        """Some of the bytes; 0 at the end and once it is closed."""
        if not self._piece and not self._ended:
            piece = self._pieces.get()
            self._places.put(True)
            if isinstance(piece, BaseException):
                raise piece
            self._piece, self._ended = memoryview(piece), not piece
        count = min(len(view), len(self._piece))
        view[:count] = self._piece[:count]
        self._piece = self._piece[count:]
        return count

    def close(self) -> None:
        """Read no more; whoever waits for bytes goes on."""
        self._places.put(False)

    def _run(self) -> None:
        try:
            while self._places.get() and (piece := self._read(SIZE)):
                self._pieces.put(piece)
        except BaseException as error:  # noqa: BLE001 - raised again where it is read
            self._pieces.put(error)
        self._pieces.put(b"")
        self._close()
