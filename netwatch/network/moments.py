"""Moments in a level history that an eye sees as a flicker: one frame unlike its neighbours, all at zero for a frame or two.

A frame is told where the levels stood for some frames before and after it, so that running effects and fades are none; and
only where it is brief, since a source may send slowly.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netwatch.network.clock import NS
from netwatch.network.history import Change
from netwatch.numbers import Numbers

_AT_ONCE = 4_096


@dataclass(frozen=True, slots=True)
class Flick:
    """``what`` is 'one frame' or 'zero'."""

    what: str
    source: int
    at: int
    until: int
    """ns of the frame after it."""
    n: int
    frames: int
    channels: tuple[int, ...]
    """Places in the range, from 0."""
    level: int
    """The highest during it, on these channels."""
    stood: int
    """The highest around it."""


def flicks(changes: Iterable[Change], numbers: Numbers) -> list[Flick]:
    """By time. ``changes`` = as ``History`` holds them."""
    runs: dict[int, list[list[Change]]] = {}
    for change in changes:
        mine = runs.setdefault(change.source, [])
        if change.begins or change.ends or not mine:
            mine.append([])
        mine[-1].append(change)
    found = [flick for mine in runs.values() for run in mine for flick in _of_run(run, numbers)]
    return sorted(found, key=lambda flick: (flick.at, flick.n))


def _of_run(run: list[Change], numbers: Numbers) -> list[Flick]:
    """Of one source, without a silence in between."""
    dark, brief_ns = _dark(run, numbers), numbers.flick_brief_s * NS
    taken = {flick.n for flick in dark}
    brief = [
        at for at in range(1, len(run) - 1)
        if run[at + 1].frame - run[at].frame == 1 and run[at + 1].at - run[at].at < brief_ns and run[at].n not in taken
    ]  # fmt: skip
    out = dark
    for begin in range(0, len(brief), _AT_ONCE):
        out += _single(run, brief[begin : begin + _AT_ONCE], int(numbers.flick_stood))
    return out


def _dark(run: list[Change], numbers: Numbers) -> list[Flick]:
    """All channels at zero for a few frames, lit before and after."""
    out = []
    for before, at, after in zip(run, run[1:], run[2:], strict=False):
        frames = after.frame - at.frame
        short = frames <= numbers.flick_dark and after.at - at.at < numbers.flick_brief_s * NS
        if short and not any(at.levels) and any(before.levels) and any(after.levels):
            lit = tuple(place for place, level in enumerate(before.levels) if level)
            out.append(Flick("zero", at.source, at.at, after.at, at.n, frames, lit, 0, max(before.levels)))
    return out


def _single(run: list[Change], places: list[int], stood: int) -> list[Flick]:
    """The frames at ``places`` on whose channels all was the same for ``stood`` frames before, and after, but not then."""
    if not places:
        return []
    numbers = [change.frame for change in run]

    def frames(offset: int) -> npt.NDArray[np.uint8]:
        """[places, width] the levels so many frames away; the run's first and newest stand for what is beyond."""
        found = [run[max(bisect_right(numbers, run[place].frame + offset) - 1, 0)] for place in places]
        return np.frombuffer(b"".join(change.levels for change in found), np.uint8).reshape(len(places), -1)

    here, beside = frames(0), frames(-1)
    alone = here != beside
    for offset in (*range(-stood, -1), *range(1, stood + 1)):
        alone &= frames(offset) == beside
    out = []
    for at in np.flatnonzero(alone.any(axis=1)).tolist():
        change, on = run[places[at]], np.flatnonzero(alone[at])
        out.append(Flick(
            "one frame", change.source, change.at, run[places[at] + 1].at, change.n, 1, tuple(on.tolist()),
            int(here[at][on].max()), int(beside[at][on].max()),
        ))  # fmt: skip
    return out
