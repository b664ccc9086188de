"""What each flow did in the newest buckets of 10 s on the clock's own grid: differences of running counts."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

I64 = npt.NDArray[np.int64]

KEPT = 6
"""Buckets that are kept: a minute."""
COUNTS = ("packets", "lost", "lost_split", "gaps", "bursts", "late", "repeated", "changes", "coded", "outages")
"""Running counts of a flow of which buckets are made."""


class Buckets:
    """Buckets of all flows, newest last."""

    def __init__(self) -> None:
        self.full: list[dict[str, I64]] = []
        self._before: dict[str, I64] = {name: np.zeros(0, np.int64) for name in COUNTS}
        self._sums: dict[int, dict[str, I64]] = {}

    def open(self, counts: Mapping[str, I64]) -> dict[str, I64]:
        """What came since the newest bucket was closed; ``counts`` = running counts by name, one entry a flow."""
        return {name: counts[name] - sized(self._before[name], len(counts[name])) for name in COUNTS}

    def close(self, counts: Mapping[str, I64]) -> None:
        """At the end of a tick on the 10 s grid."""
        self.full.append(self.open(counts))
        del self.full[:-KEPT]
        self._before = {name: counts[name].copy() for name in COUNTS}
        self._sums = {}

    def sums(self, most: int = KEPT) -> dict[str, I64]:
        """Sums over the newest ``most`` buckets by name; empty arrays where none is full yet. Not to be written to."""
        if most not in self._sums:
            size = max((len(bucket["packets"]) for bucket in self.full), default=0)
            start = np.zeros(size, np.int64)
            newest = self.full[-most:]
            self._sums[most] = {name: sum((sized(bucket[name], size) for bucket in newest), start) for name in COUNTS}
        return self._sums[most]

    def spread(self, name: str, most: int = KEPT) -> I64:
        """In how many of the newest ``most`` buckets a flow had any; as long as the newest bucket."""
        size = max((len(bucket[name]) for bucket in self.full), default=0)
        return sum((sized((bucket[name] > 0).astype(np.int64), size) for bucket in self.full[-most:]), np.zeros(size, np.int64))

    def forget(self, flows: I64) -> None:
        """These ids are given back."""
        for figures in (*self.full, self._before):
            for array in figures.values():
                array[flows[flows < len(array)]] = 0
        self._sums = {}


def sized(array: I64, size: int) -> I64:
    """The first ``size`` entries, zeros behind the end."""
    return array[:size] if len(array) >= size else np.append(array, np.zeros(size - len(array), array.dtype))
