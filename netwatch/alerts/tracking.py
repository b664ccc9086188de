"""Does one source follow another? A backup that tracks shows each frame a moment after its main one: no fight."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from netwatch.alerts.rule import NS
from netwatch.alerts.scene import Scene
from netwatch.network.clock import FOR_EVER
from netwatch.network.prints import NO_TIME

I64 = npt.NDArray[np.int64]
U64 = npt.NDArray[np.uint64]
Bool = npt.NDArray[np.bool_]

_STEPS = 4
"""Changes of the one that follows that must all be those of the other."""


def tracking(scene: Scene, ticks: I64, ones: I64, others: I64) -> Bool:
    """[cells] whether one of two flows follows the other at a tick's end."""
    prints, out = scene.network.streams.prints, np.zeros(len(ticks), bool)
    if not prints.on or not len(ticks):
        return out
    now, lag = scene.figures.now[ticks], int(scene.network.numbers.tracking_lag_s * NS)
    one, other = prints.at(ticks, ones), prints.at(ticks, others)
    for main, backup in ((one, other), (other, one)):
        # Of most that fight the newest frame is none that the other remembers.
        at = np.flatnonzero((main[0] == backup[0][:, :1]).any(axis=1) & (backup[1][:, 0] != NO_TIME))
        if len(at):
            out[at] |= _follows((main[0][at], main[1][at]), (backup[0][at], backup[1][at]), now[at], lag)
    return out


def _follows(main: tuple[U64, I64], backup: tuple[U64, I64], now: I64, lag: int) -> Bool:
    """[cells] the backup began its newest frame within ``lag`` after the main one did, which has left it no longer ago."""
    took = _taken_over(main, backup, 0, lag)
    left = np.concatenate([np.full((len(now), 1), FOR_EVER), main[1][:, :-1]], axis=1)
    out: Bool = np.any(took & (left >= now[:, None] - lag), axis=1)
    for step in range(1, _STEPS):
        at = np.flatnonzero(out)
        mine = backup[0][at], backup[1][at]
        found = _taken_over((main[0][at], main[1][at]), mine, step, lag).any(axis=1)
        # What is older than the memory of the main one can't be told.
        out[at] = found | (mine[1][:, step] < main[1][at, -1] + lag) | (mine[1][:, step] == NO_TIME)
    return out


def _taken_over(main: tuple[U64, I64], backup: tuple[U64, I64], step: int, lag: int) -> Bool:
    """[cells, 48] frames of the main one that the backup's change so many steps ago took over."""
    print_a, time_a = main
    print_b, time_b = backup[0][:, step, None], backup[1][:, step, None]
    took: Bool = (print_a == print_b) & (time_b >= time_a) & (time_b - time_a <= lag) & (time_a != NO_TIME)
    return took
