"""Light of the tick that is open: whose each packet is, and which came again. Earlier ticks of a stretch never hold much."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from netwatch.network.sequence import NUMBERS

I64 = npt.NDArray[np.int64]

_DENSE = 4
"""Places a row that may be counted in: with more of them rows are sorted."""


@dataclass(frozen=True, slots=True, eq=False)
class Again:
    """Packets whose number was there just before, in order of arrival a flow."""

    cell: I64
    """flow * NUMBERS + number."""
    time: I64
    n: I64

    @property
    def flow(self) -> I64:
        return self.cell // NUMBERS


NONE_AGAIN = Again(*np.zeros((3, 0), np.int64))


@dataclass(slots=True, eq=False)
class LightTick:
    """One tick's light."""

    flows: list[I64] = field(default_factory=list)
    parts: list[Again] = field(default_factory=list)
    packets: int = 0
    _most: tuple[int, int] = 0, 0
    """Of so many ``flows`` the packets of the busiest one."""

    @property
    def most(self) -> int:
        """Packets of the busiest flow."""
        if self._most[0] != len(self.flows):
            self._most = len(self.flows), int(self.rows(0).max())
        return self._most[1]

    def rows(self, size: int) -> I64:
        """[size] packets of each flow."""
        return np.bincount(self.flows[0] if len(self.flows) == 1 else np.concatenate(self.flows), minlength=size)

    @property
    def again(self) -> Again:
        """All that came again."""
        none = np.zeros(0, np.int64)
        return Again(*(np.concatenate([none, *(getattr(part, name) for part in self.parts)]) for name in ("cell", "time", "n")))


class Tail:
    """By tick, as long as it is open."""

    def __init__(self) -> None:
        self.ticks: dict[int, LightTick] = {}
        self._open = -1, np.zeros(0, np.int64)
        """The tick that the newest batch left open, and its packets by flow."""

    def much(self, tick: int, least: int) -> bool:
        """Did a flow bring more than so many packets in the open tick so far? Counted, so that no cut of the input matters."""
        found = self.ticks.get(tick)
        return found is not None and found.packets > least and found.most > least

    def crowded(self, flow: I64, tick: I64, final: int, least: int, turn: int) -> set[int]:
        """Ticks in which a flow brings more than so many packets; ``flow`` = -1 where it is new. Asked once for each batch.

        ``turn`` = rows after which flows come again in the same turn.
        """
        found = set[int]()
        bounds = np.flatnonzero(tick[1:] != tick[:-1])
        lengths = np.diff(bounds, prepend=-1, append=len(tick) - 1)
        most = int(lengths.max(initial=0))
        few = most <= least or (turn < len(tick) and (most // turn + 2) * int(np.bincount(flow[:turn] + 1).max()) <= least)
        if not few:
            width = int(flow.max()) + 2
            if width * len(lengths) <= _DENSE * len(tick):
                place = np.repeat(np.arange(len(lengths)) * width + 1, lengths) + flow
                by_tick = np.bincount(place, minlength=width * len(lengths)).reshape(-1, width)
                found.update(tick[np.cumsum(lengths)[(by_tick > least).any(axis=1)] - 1].tolist())
            else:
                order = np.argsort(flow.astype(np.uint16), kind="stable")
                ids, when = flow[order], tick[order]
                many = (ids[least:] == ids[:-least]) & (when[least:] == when[:-least])
                found.update(np.unique(when[least:][many]).tolist())
        at, counts = self._open
        for each in dict.fromkeys((at, final)):
            here = flow[slice(*np.searchsorted(tick, (each, each + 1)).tolist())]
            counts = _more(counts if each == at else counts[:0], here[here >= 0])
            if int(counts.max(initial=0)) > least:
                found.add(each)
        self._open = final, counts
        return found

    def add(self, tick: int, flow: I64, again: Again) -> None:
        """More light of a tick."""
        light = self.ticks.setdefault(tick, LightTick())
        light.flows.append(flow)
        light.packets += len(flow)
        if len(again.cell):
            light.parts.append(again)

    def close(self, tick: int, least: int) -> LightTick | None:
        """A tick ends: its light, if a flow brought more than so many packets."""
        found = self.ticks[tick] if self.much(tick, least) else None
        for each in [each for each in self.ticks if each <= tick]:
            del self.ticks[each]
        return found


def _more(counts: I64, ids: I64) -> I64:
    """Counts by id, with these added."""
    out = np.bincount(ids, minlength=len(counts))
    out[: len(counts)] += counts
    return out
