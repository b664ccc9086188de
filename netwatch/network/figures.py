"""What a stretch of ticks looked like to the streams, and what they are given: plain arrays, shared by model and rules."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netwatch.network.slots import SlotRows

I64 = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Return:
    """A flow that was silent for longer than its receivers wait, and came back."""

    tick: int
    flow: int
    before: int
    """ns of its last packet before the silence."""
    back: int
    n: int


@dataclass(slots=True, eq=False)
class Figures:
    """What one stretch of ticks looked like, by [tick, flow]. Rows ffill: they hold the value at each tick's end."""

    tick: int
    """Number of the first tick."""
    now: I64
    """[K] ns, end of each tick."""
    last: I64
    """[K, F] ns of the newest packet."""
    options: I64
    priority: I64
    newest: I64
    """[K, F] row in ``frames`` of the newest frame with levels in this stretch, -1 = the flow's from before."""
    frames: SlotRows
    """The frames that ``newest`` points to."""
    before: npt.NDArray[np.uint8]
    """[F, 512] each flow's newest frame from before the stretch."""
    alive: I64
    """[K, senders] ns of the newest packet of any kind from each sender."""
    number_before: I64
    """[F] packet number of each flow's newest packet from before the stretch."""
    cells: tuple[I64, I64]
    """(flow * K + tick, packet number of the newest packet in it), rising: of all cells that hold packets."""

    def number(self, k: int, flow: int) -> int:
        """Packet number of a flow's newest packet at a tick's end."""
        places, numbers = self.cells
        ticks = len(self.now)
        at = int(np.searchsorted(places, flow * ticks + k, side="right")) - 1
        if at >= 0 and places[at] // ticks == flow:
            return int(numbers[at])
        return int(self.number_before[flow])

    def numbers(self, k: int, flows: list[int]) -> dict[int, int]:
        """The same of several flows, by flow."""
        if not flows:
            return {}
        places, numbers = self.cells
        ids, ticks = np.array(flows), len(self.now)
        out = self.number_before[ids]
        if len(places):
            at = np.searchsorted(places, ids * ticks + k, side="right") - 1
            here = (at >= 0) & (places[at] // ticks == ids)
            out[here] = numbers[at[here]]
        return dict(zip(flows, out.tolist(), strict=True))


@dataclass(slots=True)
class Rows:
    """The level rows of a stretch, in order."""

    flow: I64
    tick: I64
    """Index of the tick in the stretch."""
    time: I64
    n: I64
    index: I64
    """Position in the batch's ``levels`` table."""


@dataclass(slots=True)
class Others:
    """All packets of a stretch that carry no levels."""

    tick: I64
    """Index of the tick in the stretch."""
    time: I64
    speaker: npt.NDArray[np.uint64]
    segment: npt.NDArray[np.uint64]


NOBODY = Others(np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0, np.uint64), np.zeros(0, np.uint64))


def speaker(mac: npt.NDArray[np.uint64], src: npt.NDArray[np.uint64]) -> npt.NDArray[np.uint64]:
    """Which box spoke: its MAC, or where the link has none its address."""
    return np.where(mac != 0, mac, src | np.uint64(1 << 48))
