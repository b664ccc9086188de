"""Following records from one to the next, and reading their headers as columns.

Most records are as long as the one before. So after a few equal ones thousands of headers are compared at once. Where lengths
change all the time chains are guessed (``guessed.py``); a plain loop goes on between them and looks for runs ever more seldom.
"""

from __future__ import annotations

import numpy as np

from .batch import I64, U8

PATIENCE, MIN_PATIENCE, MAX_PATIENCE = 16, 4, 1_024
"""Equal records in a row after which a run is looked for: fewer after a look that was worth it, more after one that was not."""
WORTH = 32
"""Records in a run that cost as much to find as one by one."""
ASK = 64
MAX_ASK = 4_096
"""Headers compared at once, growing fourfold."""


class Found:
    """Starts of records in order, collected from single ones and from runs."""

    def __init__(self, pos: int) -> None:
        self.pos = pos
        """Where the first record begins that is not among them."""
        self.single: list[int] = []
        self.patience = PATIENCE
        self._parts: list[I64] = []

    def run(self, block: U8, pos: int, stride: int, offset: int, kind: str, end: int) -> int:
        """Add records from ``pos`` on that have the same length field as the one ``stride`` before; where they end."""
        count = _repeats(block, pos, stride, offset, kind, end)
        if count:
            self._flush()
            self._parts.append(np.arange(pos, pos + count * stride, stride))
        self.patience = max(self.patience // 2, MIN_PATIENCE) if count >= WORTH else min(self.patience * 2, MAX_PATIENCE)
        return pos + count * stride

    def add(self, starts: I64) -> None:
        """Records that were found elsewhere."""
        if len(starts):
            self._flush()
            self._parts.append(starts)

    def starts(self) -> I64:
        """int64 [records]."""
        self._flush()
        return np.concatenate(self._parts) if self._parts else np.zeros(0, np.int64)

    def _flush(self) -> None:
        if self.single:
            self._parts.append(np.array(self.single, np.int64))
            self.single.clear()


def gather(block: U8, start: I64, size: int) -> U8:
    """uint8 [records, size]: the bytes at each start."""
    windows = np.ndarray(len(block) - size + 1, f"V{size}", block, 0, (1,))
    return windows[start].view(np.uint8).reshape(-1, size)


def scatter(block: U8, start: I64, rows: U8) -> None:
    """Write uint8 [records, size] at each start."""
    size = rows.shape[1]
    if not len(rows):
        return
    windows = np.ndarray(len(block) - size + 1, f"V{size}", block, 0, (1,))
    windows[start] = np.ascontiguousarray(rows).view(f"V{size}").reshape(-1)


def _repeats(block: U8, pos: int, stride: int, offset: int, kind: str, end: int) -> int:
    """How many records from ``pos`` on, all before ``end``, have the field of the record before."""
    field = np.ndarray((), kind, block, pos - stride + offset)[()]
    most = (end - pos) // stride
    count, ask = 0, ASK
    while count < most:
        ask = min(ask, most - count)
        differs = np.ndarray(ask, kind, block, pos + count * stride + offset, (stride,)) != field
        first = int(differs.argmax())
        if differs[first]:
            return count + first
        count += ask
        ask = min(ask * 4, MAX_ASK)
    return count
