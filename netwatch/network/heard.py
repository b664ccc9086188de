"""Keys that are heard again and again: how often, when first and last, and by which packets."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from netwatch.network.keys import KeyTable, grown

I64 = npt.NDArray[np.int64]
U64 = npt.NDArray[np.uint64]


class Heard:
    """A table of keys and what was heard of each, in columns by id; times in ns."""

    def __init__(self, name: str, width: int, cap: int) -> None:
        self.table = KeyTable(name, width, cap)
        self.first = np.zeros(16, np.int64)
        self.last = np.zeros(16, np.int64)
        self.first_n = np.zeros(16, np.int64)
        self.last_n = np.zeros(16, np.int64)
        self.count = np.zeros(16, np.int64)

    def note(self, columns: Sequence[U64], n: I64, time: I64, tick: I64) -> None:
        """Rows of keys were heard, in order; what is not held yet is admitted."""
        ids = self.table.find(columns)
        unknown = np.flatnonzero(ids < 0)
        if len(unknown):
            ids[unknown], _ = self.admit([column[unknown] for column in columns], n[unknown], time[unknown])
            held = ids >= 0
            ids, n, time, tick = ids[held], n[held], time[held], tick[held]
        self.again(ids, n, time, tick)

    def admit(self, columns: Sequence[U64], n: I64, time: I64) -> tuple[I64, I64]:
        """``KeyTable.admit_all``; new keys begin, of which nothing is counted yet."""
        ids, rows = self.table.admit_all(columns, n, time)
        if len(rows):
            while self.table.size > len(self.first):
                for name in ("first", "last", "first_n", "last_n", "count"):
                    setattr(self, name, grown(getattr(self, name)))
            new = ids[rows]
            self.first[new] = self.last[new] = time[rows]
            self.first_n[new] = self.last_n[new] = n[rows]
            self.count[new] = 0
        return ids, rows

    def again(self, ids: I64, n: I64, time: I64, tick: I64) -> I64:
        """Held keys were heard, rows in order; gives the first row of each that settled, by id."""
        self.last[ids], self.last_n[ids] = time, n
        np.add.at(self.count, ids, 1)
        return self.table.touch(ids, tick)

    def evict(self, tick: int, time: int) -> bool:
        """At a tick's end; True when some left."""
        gone = self.table.overdue(tick)
        if len(gone):
            self.table.free(gone, time)
        return len(gone) > 0
