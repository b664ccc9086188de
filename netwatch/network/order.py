"""Rows in the order of their flows: where each flow and each of its ticks ends, and what holds at a tick's end."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

I64 = npt.NDArray[np.int64]

_SPANS = 16


def begins_of(keys: npt.NDArray[Any]) -> I64:
    """Where each run of equal keys begins; the first always at 0."""
    begins: I64 = np.append(0, np.flatnonzero(keys[1:] != keys[:-1]) + 1)
    return begins


def bounds_of(flow: I64, k: I64) -> tuple[I64, I64, I64]:
    """Of rows sorted by flow, then by tick: where each flow begins and ends, and where each of its ticks ends."""
    turns, last = flow[1:] != flow[:-1], [len(flow) - 1]
    closes = ends = np.concatenate([turns.nonzero()[0], last])
    moves = k[1:] != k[:-1]
    if moves.any():
        ends = np.concatenate([(turns | moves).nonzero()[0], last])
    begins = np.empty_like(closes)
    begins[0], begins[1:] = 0, closes[:-1] + 1
    return begins, closes, ends


def carry(out: I64, values: I64, flow: I64, k: I64, ends: I64, ids: I64) -> None:
    """Write each cell's newest value, and carry it on to the later ticks of the stretch."""
    ticks = len(out)
    if ticks == 1:
        out[0, flow[ends]] = values[ends]
        return
    if (values == out[0, flow]).all():
        return
    place = np.full(out.shape, -1, np.int64)
    place[k[ends], flow[ends]] = ends
    np.maximum.accumulate(place, axis=0, out=place)
    columns = place[:, ids]
    out[:, ids] = np.where(columns >= 0, values[columns], out[:, ids])


def speak_often(flow: I64, here: I64, time: I64, last: int, silence: int) -> bool:
    """Do the flows ``here`` speak in each half of so many ns, so that none can be silent? ``last`` = their oldest word before."""
    step, begin = silence // 2, int(time[0])
    if step <= 0 or int(time[-1]) - begin >= _SPANS * step or begin + step - last > silence:
        return False
    bounds = time.searchsorted(np.arange(begin, int(time[-1]) + 1, step)).tolist()
    least = int(here[-1]) + 2
    spoke = (np.bincount(flow[a:b] + 1, minlength=least)[here + 1] for a, b in pairwise(bounds))
    return len(bounds) > 1 and all(bool(each.all()) for each in spoke)
