"""Asks the rules at the ticks where their answer can have changed, and drives the engine.

A rule over streams gives a mask over all ticks of a stretch; it is asked for findings only at ticks where its mask
changes. A rule over the slow tables is asked after news and when its own wake has come; stretches end at such ticks.
What is open is asked again on the 10 s grid, and what is about to open at that very tick, so that facts are fresh.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any, NamedTuple

import numpy as np

from netwatch.alerts import switched_off
from netwatch.alerts.alert import Alert, Event
from netwatch.alerts.building import Easing
from netwatch.alerts.catalogue import RULES, STREAM_RULES, TABLE_RULES
from netwatch.alerts.engine import Engine
from netwatch.alerts.fitting import Fitting
from netwatch.alerts.light import Marked
from netwatch.alerts.phases import Phases
from netwatch.alerts.rule import Finding, Rule
from netwatch.alerts.scene import Mask, Scene
from netwatch.network.clock import grid
from netwatch.network.figures import Figures
from netwatch.network.network import Network
from netwatch.numbers import Numbers

TABLES = {each.rule.code: each for each in TABLE_RULES}
_STEADY = {each.rule.code for each in TABLE_RULES if each.rule.steady}
_GROUNDS: dict[str, Callable[[Network], int]] = {
    each.rule.code: each.ground for each in TABLE_RULES if hasattr(each, "ground")
}


class _News(NamedTuple):
    """How often the slow tables had changed."""

    still: int
    """All but the parts."""
    parts: dict[str, int]
    """Each of the parts."""


class Judge:
    """Rules and the engine that keeps their alerts."""

    def __init__(self, numbers: Numbers, phases: Phases, where: Callable[[int], str]) -> None:
        """``where`` gives the place of a segment."""
        self.engine = Engine(RULES, numbers, where=where)
        self.phases = phases
        self._wakes: dict[str, int | None] = {each.rule.code: None for each in TABLE_RULES}
        self._grounds: dict[str, int] = {}
        self._read: dict[str, set[str]] = {}
        """By table rule: the parts of the model that it read when it was asked last."""
        self._revision = -1
        self._news = _News(-1, {})
        """When the table rules looked last."""
        self._still: dict[str, Any] | None = None
        self._still_at = -1
        self._easing: Easing | None = None
        self._fitting = {code: Fitting(rule) for code, rule in RULES.items()}
        self._was: dict[str, Mask] = {each.rule.code: np.zeros(0, bool) for each in STREAM_RULES}
        self._marked = set[str]()
        """Rules over streams that marked something at the end of the stretch before."""
        self._since: dict[str, np.ndarray] = {each.rule.code: np.zeros(0, np.int64) for each in STREAM_RULES}

    def wake(self) -> int | None:
        """ns at which a tick must end a stretch: a table rule wants to look again, or an alert is due."""
        times = [time for time in self._wakes.values() if time is not None]
        due = self.engine.deadline()
        return min(times + ([due] if due is not None else []), default=None)

    def pending(self, network: Network) -> bool:
        """The slow tables changed since the table rules looked: the next tick must be judged alone."""
        return network.revision != self._revision

    def judge(self, network: Network, figures: Figures, ticks: int) -> list[tuple[Event, Alert]]:
        """Judge the first ``ticks`` ticks of a stretch: each event, and its alert as it stood then.

        The slow tables stand as at the end of the last of them.
        """
        scene = Scene(network, figures, self._still if self._still_at == network.revision_of(()) else None)
        masks = self._masks(scene, ticks)
        self._still, self._still_at = scene.still, network.revision_of(())
        turns = {code: turned for code, mask in masks.items() if (turned := self._turns(code, mask)) is not None}
        for back in network.streams.returns:
            # What a return proves is told at its own tick, whether a mask turns or not.
            for each in STREAM_RULES:
                turn = turns.setdefault(each.rule.code, np.zeros(ticks, bool))
                turn[back.tick - figures.tick : back.tick - figures.tick + 1] = back.tick >= figures.tick
        told: list[tuple[Event, Alert]] = []
        k = -1
        while (k := self._next(k, ticks, turns, figures)) < ticks:
            now, last = int(figures.now[k]), k == ticks - 1
            easing = self._easing = Easing(network, self.phases, now, self._easing)
            due = {code for code, when in self.engine.deadlines().items() if when <= now}
            if grid(figures.tick + k):
                due |= self.engine.live()
            for each in STREAM_RULES:
                code = each.rule.code
                if (code in turns and turns[code][k]) or code in due:
                    mask = masks.get(code, scene.nothing)[k]
                    flows = np.flatnonzero(mask).tolist()
                    self._begin(code, mask, now)
                    findings = each.findings(scene, Marked(k, flows, self._since[code])) if flows else []
                    self._tell(network, each.rule, now, findings, easing)
            if last:
                self._ask_tables(network, now, due, easing)
            events = self.engine.advance(now)
            if events:
                alerts = self.engine.alerts(only={event.alert for event in events})
                told += [(event, alerts[event.alert]) for event in events if event.alert in alerts]
        for code, mask in masks.items():
            self._was[code] = mask[-1].copy()
            (self._marked.add if mask[-1].any() else self._marked.discard)(code)
        if grid(figures.tick + ticks - 1):
            switched_off.watch(scene, self.phases, int(figures.now[ticks - 1]))
        return told

    def _masks(self, scene: Scene, ticks: int) -> dict[str, Mask]:
        """By rule over streams; without those that mark nothing and marked nothing before."""
        masks = {}
        for each in STREAM_RULES:
            mask = each.mask(scene)
            if mask is not scene.nothing or each.rule.code in self._marked:
                masks[each.rule.code] = mask[:ticks]
        return masks

    def forget(self, network: Network) -> None:
        """Ids of flows were freed: what was noted of them is not about whoever gets them next."""
        for code, was in self._was.items():
            free = ~network.streams.table.used[: len(was)]
            was[free] = False
            self._since[code][: len(was)][free[: len(self._since[code])]] = 0

    def _next(self, k: int, ticks: int, turns: dict[str, Mask], figures: Figures) -> int:
        """The next tick at which something may change; the last tick always is one."""
        due = self.engine.deadline()
        for tick in range(k + 1, ticks):
            if tick == ticks - 1 or any(turn[tick] for turn in turns.values()):
                return tick
            if (due is not None and due <= int(figures.now[tick])) or grid(figures.tick + tick):
                return tick
        return ticks

    def _turns(self, code: str, mask: Mask) -> Mask | None:
        """[ticks] True where the mask differs from the tick before; None where nothing is marked and nothing was."""
        if code not in self._marked and not mask.any():
            return None
        was = np.zeros((1, mask.shape[1]), bool)
        known = min(len(self._was[code]), mask.shape[1])
        was[0, :known] = self._was[code][:known]
        turned: Mask = (np.concatenate([was, mask[:-1]]) != mask).any(axis=1)
        return turned

    def _begin(self, code: str, mask: Mask, now: int) -> None:
        """Since when each flow is marked: the end of the tick in which it became so."""
        since = np.zeros(len(mask), np.int64)
        known = min(len(self._since[code]), len(mask))
        since[:known] = self._since[code][:known]
        since[~mask] = 0
        since[mask & (since == 0)] = now
        self._since[code] = since

    def _ask_tables(self, network: Network, now: int, due: set[str], easing: Easing) -> None:
        asked = due | {code for code, wake in self._wakes.items() if wake is not None and wake <= now}
        if network.revision != self._revision:
            asked |= self._concerned(network, asked)
        for code in sorted(asked & TABLES.keys()):
            each = TABLES[code]
            looked, self._read[code] = network.parts.reading(partial(each.look, network, now))
            self._wakes[code] = looked.wake
            if looked.findings or self.engine.holds(code):
                self._tell(network, each.rule, now, looked.findings, easing)

    def _concerned(self, network: Network, asked: set[str]) -> set[str]:
        """The rules over the slow tables whose answer news may have changed, beside those that are ``asked`` anyway."""
        before = self._news
        news = self._news = _News(network.revision_of(()), dict(network.parts.changes))
        self._revision = network.revision
        if news.still != before.still:
            concerned = TABLES.keys() - _GROUNDS.keys()
        else:
            changed = {part for part, times in news.parts.items() if times != before.parts.get(part)}
            concerned = {code for code, read in self._read.items() if not changed.isdisjoint(read)} - _GROUNDS.keys()
        concerned -= {code for code in concerned & _STEADY if self._wakes[code] is not None}
        for code in _GROUNDS.keys() - asked:
            ground = _GROUNDS[code](network)
            if ground != self._grounds.get(code):
                self._grounds[code] = ground
                concerned.add(code)
        return concerned

    def _tell(self, network: Network, rule: Rule, now: int, findings: list[Finding], easing: Easing) -> None:
        fitted, gone = self._fitting[rule.code].fit(network, findings, easing)
        self.engine.update(rule.code, now, fitted, gone)
