"""Traffic by kind and cast, in buckets of 10 s on the clock's own grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import BROADCAST, Frames, Kind

I64 = npt.NDArray[np.int64]

_CASTS = 3
_KINDS = 32


@dataclass(slots=True)
class SegmentLoad:
    """Sums of one segment by [kind, cast]."""

    packets: I64
    octets: I64


def _empty() -> SegmentLoad:
    return SegmentLoad(np.zeros((_KINDS, _CASTS), np.int64), np.zeros((_KINDS, _CASTS), np.int64))


class Load:
    """Sums since start, in the open bucket and in the newest full one, per segment."""

    def __init__(self) -> None:
        self.total: dict[int, SegmentLoad] = {}
        self.open: dict[int, SegmentLoad] = {}
        self.full: dict[int, SegmentLoad] = {}

    def fold(self, frames: Frames, wirelen: npt.NDArray[np.int32], lo: int, hi: int) -> None:
        """Count rows lo..hi."""
        cell = frames.kind[lo:hi].astype(np.int64) * _CASTS + frames.cast[lo:hi]
        where, size = frames.segment[lo:hi], wirelen[lo:hi]
        first = where[0]
        if (where == first).all():
            self._add(int(first), cell, size)
            return
        for each in np.unique(where).tolist():
            here = where == each
            self._add(each, cell[here], size[here])

    def _add(self, segment: int, cell: I64, size: npt.NDArray[np.int32]) -> None:
        packets = np.bincount(cell, minlength=_KINDS * _CASTS).reshape(_KINDS, _CASTS)
        octets = np.bincount(cell, weights=size, minlength=_KINDS * _CASTS).astype(np.int64).reshape(_KINDS, _CASTS)
        for table in (self.total, self.open):
            load = table.get(segment)
            if load is None:
                load = table[segment] = _empty()
            load.packets += packets
            load.octets += octets

    def close_bucket(self) -> None:
        """At the end of a tick on the 10 s grid."""
        self.full, self.open = self.open, {}

    def artnet_broadcast(self, segment: int) -> tuple[int, int]:
        """(packets, captured-length bytes) of Art-Net levels sent to everybody in the newest full bucket."""
        load = self.full.get(segment)
        if load is None:
            return 0, 0
        at = (int(Kind.ARTNET_LEVELS), BROADCAST)
        return int(load.packets[at]), int(load.octets[at])


