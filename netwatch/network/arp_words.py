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
        segment, sha = decoded.frames.segment[rows].astype(np.uint64), arps.sha[a:b].astype(np.uint64)
        order = np.lexsort((sha, segment))  # stable: each box's words stay in order
        opens = np.append(True, (segment[order[1:]] != segment[order[:-1]]) | (sha[order[1:]] != sha[order[:-1]]))
        groups = np.split(rows[order], np.flatnonzero(opens)[1:]) if len(rows) else []
        for mine in sorted(groups, key=lambda rows: int(rows[0])):
            self._words(decoded, mine, time[mine], first)

    def _words(self, decoded: Decoded, rows: I64, when: I64, first: int) -> None:
        """Of one box."""
        at, begin, end = int(rows[0]), int(when[0]), int(when[-1])
        key = int(decoded.frames.segment[at]), int(decoded.arps.sha[np.searchsorted(decoded.arps.row, at)])
        seconds = [begin]
        if begin // NS != end // NS:
            seconds = when[np.unique(when // NS, return_index=True)[1]].tolist()
        for second in seconds:
            word = self.boxes.touch(key, second, lambda: Word(begin, begin))
        if word is None:
            self.boxes.refused += len(rows) - len(seconds)  # each word counts, however the input was cut
        else:
            word.last, word.n = end, first + int(rows[-1])
            word.count += len(rows)
