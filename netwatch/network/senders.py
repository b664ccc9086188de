"""Boxes that send light, and when each of them was heard last, whatever it said."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from netwatch.network.clock import LONG_AGO
from netwatch.network.figures import Others, speaker
from netwatch.network.keys import KeyTable

I64 = npt.NDArray[np.int64]


class Senders:
    """By (speaker, segment); an id is a column in ``Figures.alive``. They never fill their table: each has a flow."""

    def __init__(self, cap: int) -> None:
        self.table = KeyTable("senders", 2, cap)
        self.heard = np.full(16, LONG_AGO, np.int64)
        """ns, by id."""
        self._in_order = np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0, np.int64)
        self._ordered_at = -1
        """The version of the flows when they were put in order."""

    def admit(self, mac: I64, src: I64, segment: I64, n: I64, time: I64) -> I64:
        """Those of new flows; n and ns of their first packets."""
        key = speaker(mac.astype(np.uint64), src.astype(np.uint64)), segment.astype(np.uint64)
        ids, _ = self.table.admit_all(key, n, time)
        while self.table.size > len(self.heard):
            self.heard = np.concatenate([self.heard, np.full(len(self.heard), LONG_AGO)])
        return ids

    def hear(self, ids: I64, time: I64) -> None:
        """Packets of senders."""
        np.maximum.at(self.heard, ids, time)

    def fold(self, other: Others, last: I64, flows: KeyTable, of_flow: I64) -> I64:
        """[ticks, senders] when each was heard last: by its flows' newest packets [ticks, flows], and by all others."""
        size = self.table.size
        alive = np.full((len(last), size), LONG_AGO, np.int64)
        if not size:
            return alive
        alive[0] = self.heard[:size]
        if len(other.tick):
            column = self.table.find((other.speaker, other.segment))
            known = column >= 0
            np.maximum.at(alive, (other.tick[known], column[known]), other.time[known])
        used, begins, columns = self._flows_in_order(flows, of_flow)
        if len(used):
            alive[:, columns] = np.maximum(alive[:, columns], np.maximum.reduceat(last[:, used], begins, axis=1))
        np.maximum.accumulate(alive, axis=0, out=alive)
        self.heard[:size] = alive[-1]
        return alive

    def _flows_in_order(self, flows: KeyTable, of_flow: I64) -> tuple[I64, I64, I64]:
        """Flows in order of their senders, where each sender's begin, and the senders."""
        if self._ordered_at != flows.version:
            used = np.flatnonzero(flows.used[: flows.size])
            used = used[np.argsort(of_flow[used], kind="stable")]
            columns, begins = np.unique(of_flow[used], return_index=True)
            self._ordered_at, self._in_order = flows.version, (used, begins, columns)
        return self._in_order

    def keep(self, ids: I64, time: int) -> None:
        """All but these left."""
        gone = np.setdiff1d(np.flatnonzero(self.table.used[: self.table.size]), ids)
        self.table.free(gone, time)
        self.heard[gone] = LONG_AGO
