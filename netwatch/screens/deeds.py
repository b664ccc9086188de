"""Keys that do something outside the screen: what they ask first, and what they tell then."""

from __future__ import annotations

import time
from collections.abc import Callable

from textual import work
from textual.app import App

from netwatch.screens.ask import Ask
from netwatch.screens.source import Actions
from netwatch.story.snapshot import AlertView, Snapshot
from netwatch.words.phases import NO_REASON

INTERRUPTED = 130
PHASES = {
    "show": "In a show only what stops it comes to the top.",
    "building": "While the rig is put up, lost sources are notes until they have run for a while.",
}
KNOWN = {
    "today": "Known until the night is over. It comes back if it gets worse.",
    "job": "Known for this job. It comes back if it gets worse.",
}
NO_ALERT = "Put the cursor on an alert, or open one: this key is about it."
NO_QUERY = (
    "No box has asked for multicast here so far. Where nobody does, a join can make the switch darken nodes that work now. "
    "Better wait: such questions come about every two minutes. Type yes again to join all the same."
)


class Deeds(App[None]):
    """Part of the app."""

    actions: Actions | None
    snapshot: Snapshot | None

    @work(group="ask")
    async def action_end(self) -> None:
        """Quit; where that disturbs something, ask first."""
        warning = self.actions.before_quit() if self.actions is not None else None
        if warning is None or await self.query_one(Ask).yes(f"{warning} Type yes to quit all the same."):
            self.exit()

    def action_interrupt(self) -> None:
        self.exit(return_code=INTERRUPTED)

    @work(group="ask")
    async def action_join(self) -> None:
        """Ask which, say what it does, ask for yes; until a query was heard, twice."""
        ask, actions = self.query_one(Ask), self.actions
        universes = await ask.ask("Join which universes? For example 1-8, or: announced. Nothing is sent yet.")
        if not universes or actions is None:
            return
        try:
            agreed = await ask.yes(f"{actions.before_join(universes)} Type yes to join.")
            if agreed and self.snapshot is not None and not self.snapshot.queriers:
                agreed = await ask.yes(NO_QUERY)
            ask.tell(actions.join(universes) if agreed else "Nothing was sent.")
        except ValueError as refused:
            ask.tell(str(refused))

    @work(group="ask")
    async def action_mark(self) -> None:
        """Ask for a word and put it into the record."""
        ask, actions, pressed = self.query_one(Ask), self.actions, time.time_ns()
        word = await ask.ask("Mark this moment. A word for it, for example: pond dark")
        if word is not None and actions is not None:
            said = word.strip() or "mark"
            self._do(lambda: actions.mark(said, pressed), f"Marked: {said}")

    @work(group="ask")
    async def action_known(self) -> None:
        """'Known, leave it' of the alert here, for today or for this job; of a known one its end."""
        ask, actions, alert = self.query_one(Ask), self.actions, self._open_alert()
        if actions is None or alert is None:
            return
        if alert.accepted:
            if await ask.yes(f"This is known: {alert.accepted.get('why') or NO_REASON}. Type yes to hear of it again."):
                self._do(lambda: actions.heed(alert.id), "It is no longer known.")
            return
        answer = await ask.ask(f"Known, leave it: {alert.title}. Type today, or job for this whole job.")
        span = next((each for each in ("today", "job") if answer and each.startswith(answer.strip().lower())), None)
        why = await ask.ask("Why? A word for the report.") if span is not None else None
        if span is None or why is None:
            ask.tell("Nothing was changed." if span is None else "Nothing was changed: it needs no reason, but an Enter.")
            return
        self._do(lambda: actions.leave(alert.id, why.strip(), today=span == "today"), KNOWN[span])

    @work(group="ask")
    async def action_mended(self) -> None:
        """Close the alert here; it is watched on."""
        ask, actions, alert = self.query_one(Ask), self.actions, self._open_alert()
        if actions is None or alert is None:
            return
        if await ask.yes(f"Mended: {alert.title}. It is closed, and told again if it is not mended. Type yes."):
            self._do(lambda: actions.mended(alert.id), "Mended: closed, and watched on.")

    def _open_alert(self) -> AlertView | None:
        """The alert that the keys are about; where there is none, that is said."""
        number = self.alert_here()
        alerts = self.snapshot.alerts if self.snapshot is not None else ()
        alert = next((each for each in alerts if each.id == number), None)
        if alert is None or alert.closed is not None:
            self.query_one(Ask).tell(NO_ALERT if alert is None else "This alert is over.")
            return None
        return alert

    def alert_here(self) -> int | None:
        """Id of the alert that is opened, or that the cursor is on."""
        raise NotImplementedError

    @work(group="ask")
    async def action_phase(self) -> None:
        """Change between building and show."""
        ask, actions, snapshot = self.query_one(Ask), self.actions, self.snapshot
        if actions is None or snapshot is None:
            return
        phase = "show" if snapshot.phase == "building" else "building"
        if await ask.yes(f"The phase is {snapshot.phase}. {PHASES[phase]} Type yes to change to {phase}."):
            self._do(lambda: actions.set_phase(phase), f"The phase is {phase}.")

    def _do(self, deed: Callable[[], None], done: str) -> None:
        """Do it and say so; where it can't be done, say why."""
        try:
            deed()
        except ValueError as refused:
            done = str(refused)
        self.query_one(Ask).tell(done)
