"""Light that is not as the standard has it: frames that receivers must discard, and what is wrong with a flow's frames."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import partial

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import Decoded, Fault
from netwatch.network.capped import Capped

I64 = npt.NDArray[np.int64]
Uint32 = npt.NDArray[np.uint32]

_TOLD = ~np.uint32((1 << Fault.UNIVERSE_RANGE) | (1 << Fault.WRONG_GROUP))
"""All others: a flow's own key tells these two."""


@dataclass(slots=True)
class Tally:
    """How often, when, and where."""

    first: int
    """ns."""
    last: int
    count: int = 0
    opening: list[int] = field(default_factory=list)
    newest: list[int] = field(default_factory=list)

    def add(self, last: int, numbers: list[int]) -> None:
        """More of it, the newest at ``last``; by packet number, rising."""
        self.count, self.last = self.count + len(numbers), last
        self.opening += numbers[: 2 - len(self.opening)]
        self.newest = (self.newest + numbers[-3:])[-3:]

    @property
    def numbers(self) -> list[int]:
        """The first two and the newest three."""
        return sorted({*self.opening, *self.newest})


@dataclass(frozen=True, slots=True)
class Sender:
    """Who sent frames that must be discarded; they name no source that could be trusted."""

    segment: int
    mac: int
    src: int
    protocol: int


class Faults:
    """Discarded frames by sender and fault, and the faults of flows."""

    def __init__(self, cap: int) -> None:
        self.discarded: Capped[tuple[Sender, int], Tally] = Capped("broken senders", cap)
        self.flows: dict[int, dict[int, Tally]] = {}
        """Fault to tally by flow."""
        self.kinds = 0
        """Rises with every fault that a sender or flow shows for the first time."""

    def discard(self, decoded: Decoded, lo: int, hi: int, time: I64, first: int) -> bool:
        """Frames to be discarded, in rows lo..hi of a batch that begins with n ``first``; True = one is of a new kind."""
        broken, frames, held = decoded.broken, decoded.frames, self.discarded.held
        rows = slice(*np.searchsorted(broken.row, (lo, hi)).tolist())
        row = broken.row[rows].astype(np.int64)
        keys = zip(
            frames.segment[row].tolist(), frames.mac[row].tolist(), frames.src[row].tolist(),
            broken.protocol[rows].tolist(), broken.fault[rows].tolist(), strict=True,
        )  # fmt: skip
        for at, (segment, mac, src, protocol, fault) in zip(row.tolist(), keys, strict=True):
            when = int(time[at])
            tally = self.discarded.touch((Sender(segment, mac, src, protocol), fault), when, partial(Tally, when, when))
            if tally is not None:
                tally.add(when, [first + at])
        self.kinds += self.discarded.held - held
        return self.discarded.held != held

    def of_flows(self, flow: I64, faults: Uint32, time: I64, n: I64) -> None:
        """Rows of accepted frames, sorted by flow."""
        if not faults.any():
            return
        faults = faults & _TOLD
        rows = np.flatnonzero(faults)
        cells = (flow[rows] << 32) | faults[rows].astype(np.int64)
        for cell in np.unique(cells).tolist():
            here = rows[cells == cell]
            tallies = self.flows.setdefault(cell >> 32, {})
            for fault in Fault:
                if cell >> fault & 1:
                    self.kinds += int(fault) not in tallies
                    tally = tallies.setdefault(int(fault), Tally(int(time[here[0]]), 0))
                    tally.add(int(time[here[-1]]), n[here].tolist())

    def news(self, flow: I64, faults: Uint32) -> I64:
        """Rows at which a held flow shows a fault for the first time; -1 = a flow that is not held."""
        if not faults.any():
            return np.zeros(0, np.int64)
        faults = faults & _TOLD
        rows = np.flatnonzero((faults != 0) & (flow >= 0))
        cells = (flow[rows] << 32) | faults[rows].astype(np.int64)
        kinds, first = np.unique(cells, return_index=True)
        new = [at for cell, at in zip(kinds.tolist(), first.tolist(), strict=True) if self._is_new(cell >> 32, cell & 0xFFFFFFFF)]
        return rows[new]

    def _is_new(self, flow: int, bits: int) -> bool:
        known = self.flows.get(flow, {})
        return any(bits >> fault & 1 and fault not in known for fault in Fault)
