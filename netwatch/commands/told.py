"""Which lines of what happens are told as they come: not those of an alert that another one explains."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from ..story.bell import SETTLES
from ..story.snapshot import Happening

ALWAYS = frozenset({
    "hole", "clock-set-back", "listening", "word", "sent", "phase", "accepted", "mended", "recording", "laptop", "telling",
})  # fmt: skip


class Told:
    """Goes through the lines of a session in order. An alert is told a moment after it opened, if nothing explains it by then."""

    def __init__(self) -> None:
        self._explained: set[int] = set()
        self._open: set[int] = set()
        """Alerts that were told and are not over."""
        self._waiting: list[Happening] = []

    def lines(self, news: Sequence[Happening], now: int, *, last: bool = False) -> Iterator[Happening]:
        """Those that are told now (ns); ``last`` = nothing comes any more."""
        for line in news:
            if line.alert is not None and line.what in ("folded", "unfolded"):
                (self._explained.add if line.what == "folded" else self._explained.discard)(line.alert)
        due, self._waiting = [*self._waiting, *news], []
        for line in due:
            if line.what == "opened" and not last and now - line.at < SETTLES and line.alert not in self._explained:
                self._waiting.append(line)
            elif line.what in ALWAYS or self._alert(line):
                yield replace(line, what="opened") if line.what == "unfolded" else line

    def _alert(self, line: Happening) -> bool:
        """It is the first that is told of an alert, or its end."""
        if line.alert is None:
            return False
        if line.what == "closed":
            self._waiting = [each for each in self._waiting if each.alert != line.alert]
            told = line.alert in self._open
            self._open.discard(line.alert)
            self._explained.discard(line.alert)
            return told
        if line.what not in ("opened", "unfolded") or line.alert in self._explained | self._open:
            return False
        self._open.add(line.alert)
        return True
