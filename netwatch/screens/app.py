"""The terminal UI of ``watch`` and ``replay``. It pulls a frozen snapshot four times a second and never sees a packet."""

from __future__ import annotations

import os
from collections.abc import Callable, Hashable
from typing import ClassVar, Protocol

from textual import work
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.widgets import ContentSwitcher, Footer, Static

from netwatch.screens import first, lists
from netwatch.screens.ask import Ask
from netwatch.screens.help import help_page
from netwatch.screens.lines import Lines
from netwatch.screens.looks import LOOKS, PLAIN
from netwatch.screens.pages import Page, page
from netwatch.screens.trust import trust
from netwatch.screens.view import PageView, Picture, View
from netwatch.story.snapshot import Snapshot

PULL_EVERY = 0.25
"""Seconds."""
INTERRUPTED = 130
HELP = "help"
PHASES = {
    "show": "In a show only what stops it comes to the top.",
    "building": "While the rig is put up, lost sources are notes until they have run for a while.",
}
NO_QUERY = (
    "No box has asked for multicast here so far. Where nobody does, a join can make the switch darken nodes that work now. "
    "Better wait: such questions come about every two minutes. Type yes again to join all the same."
)


class Actions(Protocol):
    """What keys may do outside the screen. Each returns at once, and raises ValueError with one sentence where it can't."""

    def before_join(self, universes: str) -> str:
        """What joining would do, in one sentence: which universes, how many Mbit/s, what it may darken."""

    def join(self, universes: str) -> str:
        """Join, and say so in one sentence."""

    def mark(self, word: str) -> None:
        """Put a word into the record at this moment."""

    def set_phase(self, phase: str) -> None:
        """'building' or 'show'."""

    def earlier(self) -> str | None:
        """What an earlier run's joins may still do to the view, one sentence."""

    def before_quit(self) -> str | None:
        """What ending would disturb, one sentence; None = nothing."""


class NetwatchApp(App[None]):
    """``actions`` is None in replay: the keys that need it are hidden. ``look`` is a name in LOOKS; NO_COLOR overrides it."""

    TITLE = "netwatch"
    ENABLE_COMMAND_PALETTE = False
    CSS = """
    #trust { height: 3; padding: 0 1; background: $panel; }
    ContentSwitcher, View { height: 1fr; }
    .heading { height: 1; padding: 0 0 0 2; }
    Lines { height: 1fr; overflow-x: hidden; scrollbar-gutter: stable; scrollbar-size-vertical: 1; }
    Ask { height: auto; padding: 0 1; background: $panel; }
    Ask Static { height: auto; }
    Answer, Answer:focus { background: $background; background-tint: $background; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("question_mark", "help", "Help", key_display="?"),
        Binding("1", "view('first')", "Checks"),
        Binding("2", "view('streams')", "Sends"),
        Binding("3", "view('hosts')", "Boxes"),
        Binding("J", "join", "Join"),
        Binding("m", "mark", "Mark"),
        Binding("p", "phase", "Phase"),
        Binding("q", "end", "Quit"),
        Binding("t", "look", "Look", show=False),
        Binding("escape", "leave", "Back", show=False),
        Binding("ctrl+c", "interrupt", "Quit", show=False, priority=True),
    ]

    def __init__(self, pull: Callable[[], Snapshot], *, actions: Actions | None = None, look: str = "dark") -> None:
        if os.environ.get("NO_COLOR") == "":
            del os.environ["NO_COLOR"]  # empty means not set, but not to Textual
        plain = "NO_COLOR" in os.environ
        super().__init__(ansi_color=True if plain else None)
        self.animation_level = "none"
        self.look = PLAIN if plain else LOOKS[look]
        self.pull = pull
        self.actions = actions
        self.snapshot: Snapshot | None = None
        self._opened: Hashable = None
        """What the page shows: the key of a row, or HELP."""
        self._page: Page | None = None
        self._under = "first"
        """The view from which the page was opened."""

    def compose(self) -> ComposeResult:
        yield Static(markup=False, id="trust")
        with ContentSwitcher(initial="first"):
            yield View(id="first")
            yield View(id="streams")
            yield View(id="hosts")
            yield PageView(id="page")
        yield Ask()
        yield Footer(compact=True)

    def on_mount(self) -> None:
        for look in (*LOOKS.values(), PLAIN):
            self.register_theme(look.theme)
        self.snapshot = self.pull()
        self._wear()
        self.action_view("first")
        self.set_interval(PULL_EVERY, self.renew)
        earlier = self.actions.earlier() if self.actions is not None else None
        if earlier:
            self.query_one(Ask).tell(earlier)

    # ---- drawing ----

    def renew(self) -> None:
        """Pull; draw only what a newer revision brings."""
        snapshot = self.pull()
        if self.snapshot is None or snapshot.revision != self.snapshot.revision:
            self.snapshot = snapshot
            self.draw()

    def draw(self) -> None:
        """Draw the lines on top and the view that is seen."""
        if self.snapshot is None:
            return
        with self.batch_update():
            top = self.query_one("#trust", Static)
            text = trust(self.snapshot, max(self.size.width - 2, 1), self.look)
            height = text.plain.count("\n") + 1
            if top.size.height != height:
                top.styles.height = height
            top.update(text, layout=False)
            self._shown.show(self._picture(self.snapshot))

    def on_resize(self) -> None:
        self.draw()

    @property
    def _shown(self) -> View:
        return self.query_one(f"#{self.query_one(ContentSwitcher).current}", View)

    def _picture(self, snapshot: Snapshot) -> Picture:
        look, name = self.look, self._shown.id
        if name == "streams":
            return lambda size: (lists.heading(lists.STREAMS, size.width, look), lists.stream_rows(snapshot, size, look))
        if name == "hosts":
            return lambda size: (lists.heading(lists.HOSTS, size.width, look), lists.host_rows(snapshot, size, look))
        if name == "first":
            return lambda size: (None, first.rows(snapshot, size, look))
        return self._page_picture(snapshot)

    def _page_picture(self, snapshot: Snapshot) -> Picture:
        """The page as it is now; where its subject is gone, as it last was."""
        if self._opened == HELP:
            self._page = help_page(self._under, self.actions is not None, self.look)
        else:
            self._page = page(self._opened, snapshot, self.look) or self._page
        shown = self._page
        return lambda size: (shown.head(size), shown.rows(size)) if shown else (None, [])

    def _wear(self) -> None:
        """Put on the look."""
        self.theme = self.look.theme.name
        for lines in self.query(Lines):
            lines.cursor_style = self.look.style("cursor")

    # ---- keys that change what is seen ----

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action in ("join", "mark", "phase"):
            return self.actions is not None
        return not (action == "look" and self.look is PLAIN)

    def action_view(self, name: str) -> None:
        """Show a view."""
        self.query_one(ContentSwitcher).current = name
        self._shown.lines.focus()
        self.draw()
        self.refresh_bindings()

    def action_help(self) -> None:
        self._open(HELP)

    def action_leave(self) -> None:
        ask = self.query_one(Ask)
        if ask.asking:
            ask.action_cancel()
        else:
            self.action_view(self._under if self._shown.id == "page" else "first")

    def action_look(self) -> None:
        names = list(LOOKS)
        self.look = LOOKS[names[(names.index(self.look.name) + 1) % len(names)]]
        self._wear()
        self.draw()

    @work(group="ask")
    async def action_end(self) -> None:
        """Quit; where that disturbs something, ask first."""
        warning = self.actions.before_quit() if self.actions is not None else None
        if warning is None or await self.query_one(Ask).yes(f"{warning} Type yes to quit all the same."):
            self.exit()

    def action_interrupt(self) -> None:
        self.exit(return_code=INTERRUPTED)

    def on_lines_chosen(self, event: Lines.Chosen) -> None:
        """Open the page of a row; of a check that is wrong, its alert's."""
        checks = self.snapshot.checks if self.snapshot else ()
        alert = next((c.alert for c in checks if event.key == ("check", c.name) and c.state == "WRONG"), None)
        self._open(event.key if alert is None else ("alert", alert))

    def _open(self, what: Hashable) -> None:
        if self._shown.id != "page":
            self._under = self._shown.id or "first"
        self._opened = what
        self.query_one("#page", View).lines.forget()
        self.action_view("page")

    # ---- keys that do something outside the screen ----

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
