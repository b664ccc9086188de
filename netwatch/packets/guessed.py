"""Records of unlike lengths, found by following many chains of them at once.

Where a record begins is known only once the one before it was read, and a loop in Python takes its time for each. So places are
guessed at which one may begin, all over a block, and what follows each is followed in step. Then every place is held against the
one before it: where two do not join, whoever follows the records goes on by himself, up to the next guess. So no answer rests on
a guess.
"""

from __future__ import annotations

import sys
from bisect import bisect_left, bisect_right
from collections.abc import Callable

import numpy as np

from .batch import I64, U8

CHAINS = 256
STEPS = 256
"""Records of a chain at most, so that a few chains of short ones do not keep all others waiting."""
ASK = 8
"""Steps after which it is asked whether all chains have reached the next one."""
LOOK = 2_048
"""Octets in which a guess is looked for: more than most frames have."""
WORTH = 256 << 10
"""Octets of a block that are worth the guesses."""

NOWHERE = np.int64(1 << 40)
"""Behind any block."""
NEVER = sys.maxsize

Behind = Callable[[I64], I64]
"""Where the records at some places end, NOWHERE or more where there is none that may be followed."""


Stretch = tuple[I64, int, int]
"""Records that join; where the next one begins; from where on to ask again."""


class Guessed:
    """Places in a block at which records may begin, and which of them join."""

    def __init__(self, block: U8, pos: int, end: int, header: int, key: bytes, offset: int, behind: Behind) -> None:
        """A record begins at ``pos``. ``key``: what most records of ``header`` octets have at ``offset``."""
        self._end = end
        self._starts = _starts(block, pos, end - header, key, offset)
        self._at = _followed(np.array(self._starts, np.int64), end - header + 1, behind)
        self._behind = behind(self._at)
        self._breaks = [*np.flatnonzero(self._behind[:-1] != self._at[1:]).tolist(), len(self._at) - 1]

    def stretch(self, pos: int) -> Stretch:
        """The records from ``pos`` on, none if that is no guess."""
        first = int(self._at.searchsorted(pos))
        last = first
        if first < len(self._at) and self._at[first] == pos:
            last = self._breaks[bisect_left(self._breaks, first)]
            pos = int(self._behind[last])
            if pos <= self._end:
                last += 1
            else:  # not whole, or to be looked at first
                pos = int(self._at[last])
        later = bisect_right(self._starts, pos)
        return self._at[first:last], pos, self._starts[later] if later < len(self._starts) else NEVER


def unguessed(pos: int) -> Stretch:
    """Where nothing was guessed."""
    return np.zeros(0, np.int64), pos, NEVER


def _starts(block: U8, pos: int, newest: int, key: bytes, offset: int) -> list[int]:
    """``pos`` and guesses behind it, rising, none behind ``newest``."""
    starts, view, gap = [pos], block.data, max((newest - pos) // CHAINS, 1)
    for place in range(pos + gap, newest, gap):
        found = bytes(view[place : place + LOOK]).find(key)
        if found >= 0 and starts[-1] < place + found - offset <= newest:
            starts.append(place + found - offset)
    return starts


def _followed(start: I64, stop: int, behind: Behind) -> I64:
    """Places of all chains, rising, each chain up to the next one's start."""
    until = np.append(start[1:], stop)
    steps = [start]
    for step in range(1, STEPS):
        steps.append(np.minimum(behind(steps[-1]), until))
        if not step % ASK and (steps[-1] == until).all():
            break
    places = np.array(steps).T
    followed: I64 = places[places < until[:, np.newaxis]]
    return followed
