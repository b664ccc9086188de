"""Priority slot by slot: START code 0xDD beside the levels (named in E1.31-2018 6.2.3.2; its octets are a maker's).

From two public merge libraries: octet i is the priority of slot i, 1 to 200; 0 = this source does not control the slot; slots
that the packet does not have count as 0. While it is sent it stands in place of the universe's priority.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import Decoded
from netwatch.packets.batch import PacketBatch

I64 = npt.NDArray[np.int64]
U8 = npt.NDArray[np.uint8]

START_CODE = 0xDD
SLOTS = 512


@dataclass(slots=True)
class Slotwise:
    """The newest priorities of one flow."""

    values: U8
    """[512]."""
    last: int
    """ns."""
    last_n: int


class SlotPriorities:
    """By flow, while they are sent."""

    def __init__(self) -> None:
        self.flows: dict[int, Slotwise] = {}
        """Those that hold."""
        self._heard: dict[int, Slotwise] = {}
        """Those that ever did."""
        self._changed = False

    def news(self, batch: PacketBatch, decoded: Decoded, flow: I64) -> I64:
        """Level rows of flows whose priorities change in this batch; ``flow`` = -1 where it is not known yet."""
        here = _rows(decoded)
        known = [at for at in here.tolist() if flow[at] >= 0]
        moving = {int(flow[at]) for at in known if self._moves(int(flow[at]), values(batch, decoded, at))}
        return here[np.isin(flow[here], list(moving))]

    def _moves(self, flow: int, new: U8) -> bool:
        known = self._heard.get(flow)
        return known is None or not np.array_equal(known.values, new)

    def fold(self, batch: PacketBatch, decoded: Decoded, flow: I64, time: I64, n: I64, index: I64) -> None:
        """Level rows sorted by flow, then by time."""
        dd = np.flatnonzero((decoded.levels.start_code[index] == START_CODE) & (decoded.levels.at[index] >= 0))
        # Each of them, not just the newest: a change to and fro inside a tick is one, wherever the input is cut.
        for at in dd.tolist():
            new, mine = values(batch, decoded, int(index[at])), int(flow[at])
            if self._moves(mine, new):
                self._heard[mine] = self.flows[mine] = Slotwise(new, 0, 0)
                self._changed = True
            self._heard[mine].last, self._heard[mine].last_n = int(time[at]), int(n[at])

    def news_since(self) -> bool:
        """Did what holds change since this was last asked?"""
        changed, self._changed = self._changed, False
        return changed

    def expire(self, before: int) -> None:
        """On the 10 s grid: what was last sent before a moment no longer holds, what goes on as it was holds again."""
        holding = {flow: each for flow, each in self._heard.items() if each.last >= before}
        self._changed |= holding.keys() != self.flows.keys()
        self.flows = holding

    def forget(self, flows: set[int]) -> None:
        """Their ids are given back."""
        for held in (self.flows, self._heard):
            for flow in held.keys() & flows:
                del held[flow]


def _rows(decoded: Decoded) -> I64:
    return np.flatnonzero((decoded.levels.start_code == START_CODE) & (decoded.levels.at >= 0))


def values(batch: PacketBatch, decoded: Decoded, at: int) -> U8:
    """[512] priorities of a level row."""
    out = np.zeros(SLOTS, np.uint8)
    place, slots = int(decoded.levels.at[at]), min(int(decoded.levels.slots[at]), SLOTS)
    out[:slots] = batch.data[place : place + slots]
    return out
