"""The roll call: a line for each box of the plan when it comes alive, and for each that is extra."""

from __future__ import annotations

import time

from ..plan.standing import DIFFERS, EXTRA, MISSING, Standing
from ..words import plan_compare as words
from ..words.phrases import plain
from .output import say
from .session import Session

EVERY_S = 1.0


class Roll:
    """Looks once a second what became of the plan."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._due = 0.0
        self._known: dict[tuple[str, str, str], str] = {}

    def look(self) -> None:
        """Say what changed since the last look."""
        if time.monotonic() < self._due:
            return
        self._due = time.monotonic() + EVERY_S
        snapshot = self._session.snapshot()
        plan = snapshot.plan
        for each in () if plan is None else plan.standings:
            key = (each.name, each.place, each.mac if each.state == EXTRA else "")
            said = f"{each.state} {[words.difference(found) for found in each.differences]}"
            if each.state != MISSING and self._known.get(key) != said:
                self._known[key] = said
                clock = time.strftime("%H:%M:%S", time.localtime(snapshot.now / 1e9))
                say(f"{clock}  {each.state:8}  {_told(each)}; {words.left(plan.counts) if plan else ''}")


def _told(each: Standing) -> str:
    where = f", {plain(each.place)}" if each.place else ""
    if each.state == EXTRA:
        return f"{plain(each.name)} is not in the plan"
    how = words.by(each.by)
    told = "; ".join(words.difference(found) for found in each.differences) if each.state == DIFFERS else ""
    return f"{plain(each.name)}{where} ({how}){': ' + told if told else ''}"
