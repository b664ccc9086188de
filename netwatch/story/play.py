"""The fold: items in; alerts, happenings and snapshots out. The same for a file and for a wire.

Rows are folded in stretches of whole ticks, as long as nothing but known flows arrives; a tick with news is folded alone.
How the input was cut into batches must not matter (contracts 2 and 5).
"""

from __future__ import annotations

from collections.abc import Iterable
from copy import deepcopy

import numpy as np

from netwatch.alerts.alert import Alert, Event
from netwatch.alerts.catalogue import RULES
from netwatch.alerts.judge import Judge
from netwatch.alerts.known import Left
from netwatch.alerts.phases import BUILDING, Phases
from netwatch.alerts.rule import DOUBTFUL
from netwatch.decode.columns import decode
from netwatch.decode.forms import Forms
from netwatch.network.clock import BUCKET_TICKS, TICK, ClockEvent, FoldClock, grid
from netwatch.network.figures import Figures
from netwatch.network.history import History, Look
from netwatch.network.network import Network
from netwatch.network.prepared import Prepared
from netwatch.numbers import Numbers
from netwatch.packets.batch import Item, Mark, PacketBatch
from netwatch.plan.expectation import expectation, turns
from netwatch.plan.expected import Expected
from netwatch.plan.rig import Plan
from netwatch.story.course import Course
from netwatch.story.happenings import Happenings
from netwatch.story.picture import picture
from netwatch.story.said import Said
from netwatch.story.snapshot import Snapshot

_MOST_CELLS = 1 << 18
"""Ticks times flows of one stretch: bounds its arrays."""


class Player:
    """Plays items into the model and the rules."""

    def __init__(self, numbers: Numbers, vantage: str | None = None, phase: str = BUILDING, *, live: bool = False,
                 plan: Plan | None = None, expected: Expected | None = None, look: Look | None = None,
                 phase_fixed: bool = False) -> None:
        """``plan`` = the planned rig; without it the rules that compare say nothing. ``look`` = its levels are kept.

        ``expected`` = what of a plan the rules read, where there is no whole one. It begins in ``phase``; ``phase_fixed`` = and
        stays there, whatever the input says.
        """
        self.numbers, self.live = numbers, live
        self.phases = Phases(phase, fixed=phase_fixed)
        self.network = Network(numbers, vantage)
        self.plan = plan
        expected = expectation(plan) if expected is None and plan is not None else expected
        self.network.expected = expected
        self.network.named = None if expected is None else expected.name_of
        self.network.history = None if look is None else History(numbers, look)
        self.judge = Judge(numbers, self.phases, self.network.place)
        self.clock = FoldClock(numbers)
        self.forms = Forms()
        self.happenings = Happenings()
        self.said = Said()
        self.looked_at: tuple[int, int] | None = None
        """(protocol, universe) whose newest frames a snapshot shows."""
        self.course = Course()
        self.revision = 0
        self._turns = [] if plan is None else turns(plan)
        """(ns, phase) that the plan still has to come, the next one first."""
        self._open: int | None = None
        """The tick that is not complete yet."""

    def feed(self, item: Item) -> None:
        """Fold one item."""
        self.revision += 1
        if isinstance(item, Mark):
            self._mark(item)
        elif item.rows:
            self._batch(item)

    def finish(self) -> None:
        """The input ended: judge the last tick with the last item's time. Open alerts stay open."""
        if self._open is None or self.clock.now is None:
            return
        now = np.array([max(self.clock.now, self._open * TICK)], np.int64)
        figures = self.network.fold(None, self._open, 1, 0, 0)
        figures.now[:] = now
        self._close(figures, self._open, 1, None, 0)
        self._open = None
        self.course.end(self.network, self.clock.now)
        self.revision += 1

    def look(self, protocol: int, universe: int, channel: int | None = None) -> None:
        """From now on snapshots show this universe's frames, and, with a DMX channel (from 1), its history from now on."""
        self.looked_at = protocol, universe
        history, look = self.network.history, None if channel is None else Look(protocol, universe, channel, channel)
        if look != (None if history is None else history.look):
            self.network.history = None if look is None else History(self.numbers, look)
        self.revision += 1

    def know(self, known: Iterable[Left]) -> None:
        """Before anything is fed: this is known, and left be."""
        for left in known:
            self.judge.engine.leave(left, 0)

    def copy(self) -> Player:
        """One that goes on by itself: a checkpoint."""
        return deepcopy(self)

    @property
    def phase(self) -> str:
        """The phase now: 'building' or 'show'."""
        return self.phases.now

    @property
    def trusted(self) -> bool:
        """Nothing that this laptop dropped or missed, and no fault of its own, made the answer doubtful."""
        if any(state.dropped for state in self.network.vantage.ports.values()):
            return False
        told = self.judge.engine.alerts().values()
        return not any(RULES[a.code].about_laptop and a.severity in DOUBTFUL and a.accepted is None for a in told)

    def snapshot(self) -> Snapshot:
        """The picture now."""
        return picture(self)

    # ---- items ----

    def _batch(self, batch: PacketBatch) -> None:
        decoded = decode(batch, self.forms)
        self.network.undecoded.update(decoded.undecoded)
        self.network.broken.update(decoded.broken.fault.tolist())
        time, events = self.clock.batch(batch)
        it = self.network.prepare(batch, decoded, time)
        lo = 0
        for event in events:
            self._rows(it, lo, event.row)
            lo = event.row
            self._clock_event(event, it)
        self._rows(it, lo, batch.rows)

    def _mark(self, mark: Mark) -> None:
        time, events = self.clock.mark(mark)
        for event in events:
            self._clock_event(event)
        self._pass(time // TICK)
        self.network.mark(mark, time)
        self.happenings.mark(mark, time)
        if mark.facts:
            self._tell(self.said.hear(self, mark.facts, time))

    def _clock_event(self, event: ClockEvent, it: Prepared | None = None) -> None:
        self.happenings.clock(event)
        if event.what == "begin":
            self.network.first = self.network.begun = event.at
        if event.what == "clock-set-back" or self._open is None:
            return
        # What was true before the hole is judged; then everything waits anew, and the ticks inside are not judged.
        self._pass(self._open + 1, it, event.row)
        self._open = event.at // TICK
        self.network.hole_end = event.at
        self.judge.engine.hole(self._open * TICK, event.at - event.before)

    def _pass(self, tick: int, it: Prepared | None = None, row: int = 0) -> None:
        """Time passes up to the beginning of a tick; rows of ``it`` from ``row`` on are still to be folded."""
        if self._open is None:
            self._open = tick
        while self._open < tick:
            ticks = self._span(self._open, tick - 1, set())
            self._close(self.network.fold(None, self._open, ticks, 0, 0), self._open, ticks, it, row)
            self._open += ticks

    def _rows(self, it: Prepared, lo: int, hi: int) -> None:
        if lo == hi:
            return
        tick, last = int(it.tick[lo]) if self._open is None else self._open, int(it.tick[hi - 1])
        while tick <= last:
            ticks = self._span(tick, last, it.slow)
            end = min(int(it.tick.searchsorted(tick + ticks)), hi)
            figures = self.network.fold(it, tick, ticks, lo, end)
            complete = ticks if tick + ticks <= last else ticks - 1
            lo = end
            if complete:
                self._close(figures, tick, complete, it, end)
            if complete < ticks:
                break
            tick += ticks
        self._open = last

    # ---- stretches ----

    def _span(self, tick: int, last: int, slow: set[int]) -> int:
        """How many ticks from ``tick`` on may be folded at once, up to ``last`` at most; those of ``slow`` alone."""
        if tick in slow or self.judge.pending(self.network):
            return 1
        end = min(last, tick // BUCKET_TICKS * BUCKET_TICKS + BUCKET_TICKS - 1)
        end = min([end, *(each - 1 for each in slow if each > tick)])
        end = min(end, tick + max(1, _MOST_CELLS // max(1, self.network.streams.table.size)) - 1)
        wakes = self.judge.wake(), self.network.multicast.look_at, self._turns[0][0] if self._turns else None
        for wake in wakes:
            if wake is not None:
                end = min(end, max(tick, _ending(wake)))
        moves = self.network.vantage.next_judgement(tick * TICK)
        if moves is not None:
            end = min(end, max(tick, _ending(moves) - 1))
        return end - tick + 1

    def _close(self, figures: Figures, tick: int, ticks: int, it: Prepared | None, row: int) -> None:
        """Judge ``ticks`` complete ticks; ``row`` is the first row that is not folded yet."""
        final, now = tick + ticks - 1, int(figures.now[ticks - 1])
        self._turn(now)
        self.network.before_rules(final, now)
        if grid(final):
            self.course.close_bucket(self.network, final)
        self._tell(self.judge.judge(self.network, figures, ticks))
        if self.network.tick_end(final):
            self.judge.forget(self.network)
            if it is not None:
                self.network.refresh(it, row)

    def _turn(self, now: int) -> None:
        """The plan's shows begin and end; what a person says meanwhile stands until the next of them."""
        while self._turns and self._turns[0][0] <= now:
            at, phase = self._turns.pop(0)
            at = max([at, *(begun for begun, _ in self.phases.changes()[-1:])])
            if self.phases.turn(at, phase):
                self.happenings.said(at, "phase", phase)

    def _tell(self, told: list[tuple[Event, Alert]]) -> None:
        moved, self.network.vantage.moved = self.network.vantage.moved, []
        for at, port, vantage in moved:
            self.happenings.vantage(at, self.network.interface(port << 24), vantage)
        for event, alert in told:
            self.happenings.alert(event, alert)


def _ending(time: int) -> int:
    """The tick whose end is the first to reach ``time``."""
    return -(-time // TICK) - 1
