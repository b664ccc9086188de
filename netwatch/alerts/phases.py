"""The phases of a job, as the input tells them: which one it was at which time."""

from __future__ import annotations

from bisect import bisect_right
from copy import copy

BUILDING, SHOW = "building", "show"
PHASES = (BUILDING, SHOW)
_MOST = 256
"""Changes that are kept; more than any job has, and a stranger's file may hold many."""


class Phases:
    """A phase holds from its moment until the next one; the first one from the beginning of time."""

    def __init__(self, first: str, *, fixed: bool = False) -> None:
        """``fixed``: a person said that it holds throughout, whatever the input says."""
        self._begins: list[int] = []
        self._phases = [first]
        self.fixed = fixed
        self.turns = 0
        """Changes so far."""

    @property
    def now(self) -> str:
        """The newest one."""
        return self._phases[-1]

    def turn(self, at: int, phase: str) -> bool:
        """From ``at`` (ns, never falling) on it is this one; False where it was already."""
        if phase not in PHASES or phase == self.now or self.fixed:
            return False
        self.turns += 1
        self._begins.append(at)
        self._phases.append(phase)
        if len(self._begins) > _MOST:
            del self._begins[0], self._phases[0]
        return True

    def at(self, time: int) -> str:
        """Which one it was at a moment (ns)."""
        return self._phases[bisect_right(self._begins, time)]

    def changes(self) -> list[tuple[int, str]]:
        """(ns, phase) of each change, in order."""
        return list(zip(self._begins, self._phases[1:], strict=True))

    def copy(self) -> Phases:
        """One that goes on by itself."""
        new = copy(self)
        new._begins, new._phases = list(self._begins), list(self._phases)
        return new
