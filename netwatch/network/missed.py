"""Moments at which unrelated senders lost packets together: what a recording that can't keep up looks like.

A recorder throws away whatever comes in a stretch of time; a bad way loses now of this sender, now of that one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netwatch.network.clock import BUCKET_TICKS, TICK
from netwatch.numbers import Numbers

I64 = npt.NDArray[np.int64]

_MOST = 4_096
"""Losses of one bucket that are looked at."""
_KEPT = 64
_CROWDED = 0.2
"""Where moments fill more of the time than this share, losses fall together by chance. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Moment:
    """Several senders lost packets at once."""

    at: int
    """ns."""
    senders: int
    n: int
    """A packet behind it."""


class Missed:
    """By port."""

    def __init__(self, numbers: Numbers) -> None:
        self.numbers = numbers
        self.moments: dict[int, list[Moment]] = {}
        """The newest 64."""
        self._open: list[tuple[I64, I64, I64]] = []
        """(flow, ns, n): when the first of some packets must have come, and the packet behind them."""

    def add(self, flow: I64, time: I64, n: I64) -> None:
        """Packets were missing before these."""
        self._open.append((flow, time, n))

    def close(self, port: I64, sender: I64) -> None:
        """At the end of a tick on the 10 s grid; both by flow."""
        if not self._open:
            return
        flow, time, n = (np.concatenate(column) for column in zip(*self._open, strict=True))
        self._open.clear()
        order = np.lexsort((n, time))
        flow, time, n = flow[order], time[order], n[order]
        for each in np.unique(port[flow]).tolist():
            here = np.flatnonzero(port[flow] == each)[:_MOST]
            moments = self._together(time[here], sender[flow[here]], n[here])
            if moments:
                self.moments[each] = [*self.moments.get(each, ()), *moments][-_KEPT:]

    def _together(self, time: I64, sender: I64, n: I64) -> list[Moment]:
        """Moments, if nearly all losses are in one, and they are few."""
        within, least = int(self.numbers.together_s * 1e9), int(self.numbers.together_senders)
        if len(np.unique(sender)) < least:
            return []
        ends = np.searchsorted(time, time + within, side="right")
        spans: list[list[int]] = []
        for begin, end in enumerate(ends.tolist()):
            if end - begin < least or len(set(sender[begin:end].tolist())) < least:
                continue
            if spans and begin < spans[-1][1]:
                spans[-1][1] = max(end, spans[-1][1])
            else:
                spans.append([begin, end])
        inside = sum(end - begin for begin, end in spans)
        taken = sum(int(time[end - 1] - time[begin]) + within for begin, end in spans)
        if inside < len(time) * self.numbers.together_share or taken > _CROWDED * BUCKET_TICKS * TICK:
            return []
        return [Moment(int(time[a]), len(set(sender[a:b].tolist())), int(n[a:b].max())) for a, b in spans]

    def forget(self, flows: I64) -> None:
        """These ids are given back; what was not closed yet goes with them."""
        gone = set(flows.tolist())
        self._open = [tuple(column[~np.isin(part[0], list(gone))] for column in part) for part in self._open]  # type: ignore[misc]
