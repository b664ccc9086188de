"""Traffic by kind and cast, in buckets of 10 s on the clock's own grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import BROADCAST, Column, Decoded, Kind

I64 = npt.NDArray[np.int64]

_CASTS = 3
_KINDS = 32
_CELLS = _KINDS * _CASTS


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

    def fold(self, decoded: Decoded, wirelen: npt.NDArray[np.int32], lo: int, hi: int) -> None:
        """Count rows lo..hi."""
        frames, kinds = decoded.frames, decoded.kinds
        if kinds is not None and decoded.form is not None:
            frames, many = kinds.frames, np.bincount(decoded.form[lo:hi], minlength=int(kinds.form[-1]) + 1)[kinds.form]
            self._fold(frames.kind.astype(np.int64) * _CASTS + frames.cast, frames.segment, many, many * kinds.wirelen)
            return
        kind, cast, where, size = frames.kind[lo:hi], frames.cast[lo:hi], frames.segment[lo:hi], wirelen[lo:hi]
        self._fold(kind * np.uint8(_CASTS) + cast, where, None, size)

    def _fold(self, cell: Column, where: Column, many: I64 | None, size: Column) -> None:
        """Packets (None = one each) and octets by cell and segment."""
        first = where[0]
        if (where == first).all():
            self._add(int(first), cell, many, size)
            return
        for each in np.unique(where).tolist():
            here = where == each
            self._add(each, cell[here], None if many is None else many[here], size[here])

    def _add(self, segment: int, cell: Column, many: I64 | None, size: Column) -> None:
        packets, octets = (np.bincount(cell, each, _CELLS).astype(np.int64).reshape(_KINDS, _CASTS) for each in (many, size))
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


