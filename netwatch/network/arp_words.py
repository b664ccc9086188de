"""How often each box speaks by ARP: the one word that a box says by itself, whatever runs on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import Decoded
from netwatch.network.capped import Capped
from netwatch.network.clock import NS
from netwatch.numbers import Numbers

I64 = npt.NDArray[np.int64]


@dataclass(slots=True)
class Word:
    """Times in ns."""

    first: int
    last: int
    count: int = 0
    n: int = 0


class ArpWords:
    """By (segment, MAC). Evicted on the 10 s grid only, for words come in long stretches too."""

    def __init__(self, numbers: Numbers) -> None:
        self.boxes: Capped[tuple[int, int], Word] = Capped("boxes that speak by ARP", int(numbers.cap_hosts))

    def fold(self, decoded: Decoded, time: I64, first: int, lo: int, hi: int) -> None:
        """The ARP in rows lo..hi of a batch whose first packet has number ``first``."""
        arps = decoded.arps
        a, b = (int(place) for place in np.searchsorted(arps.row, (lo, hi)))
        rows = arps.row[a:b].astype(np.int64)
        keys = np.stack([decoded.frames.segment[rows].astype(np.uint64), arps.sha[a:b].astype(np.uint64)])
        found, begins, place = np.unique(keys, axis=1, return_index=True, return_inverse=True)
        place = place.reshape(-1)
        for at in np.argsort(begins, kind="stable").tolist():
            mine = rows[place == at]
            when = time[mine]
            key, begin = (int(found[0, at]), int(found[1, at])), int(when[0])
            seconds = np.unique(when // NS, return_index=True)[1].tolist()
            for second in seconds:
                word = self.boxes.touch(key, int(when[second]), lambda: Word(begin, begin))  # noqa: B023
            if word is None:
                self.boxes.refused += len(mine) - len(seconds)  # each word counts, however the input was cut
            else:
                word.last, word.n = int(when[-1]), first + int(mine[-1])
                word.count += len(mine)
