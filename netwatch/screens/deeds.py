"""Keys that do something outside the screen: what they ask first, and what they tell then."""

from __future__ import annotations

from collections.abc import Callable

from textual import work
from textual.app import App

from netwatch.screens.ask import Ask
from netwatch.screens.source import Actions
from netwatch.story.snapshot import Snapshot

INTERRUPTED = 130
PHASES = {
    "show": "In a show only what stops it comes to the top.",
    "building": "While the rig is put up, lost sources are notes until they have run for a while.",
}
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
        ask, actions = self.query_one(Ask), self.actions
        word = await ask.ask("Mark this moment. A word for it, for example: pond dark")
        if word is not None and actions is not None:
            self._do(lambda: actions.mark(word.strip() or "mark"), f"Marked: {word.strip() or 'mark'}")

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
