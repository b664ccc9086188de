"""The terminal UI of ``watch`` and ``replay``. It pulls a frozen snapshot four times a second and never sees a packet."""

from __future__ import annotations

import os
from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import ClassVar

from rich.text import Text
from textual import work
from textual.app import ComposeResult, SystemCommand
from textual.binding import Binding, BindingType
from textual.screen import Screen

from netwatch.screens import band, boxes, ends, evening, first, keys, light, see
from netwatch.screens.ask import Ask
from netwatch.screens.commands import COMMANDS
from netwatch.screens.deeds import Deeds
from netwatch.screens.drawn import Told
from netwatch.screens.help import help_page
from netwatch.screens.levels import LevelsView
from netwatch.screens.lines import Build, Lines, Spot
from netwatch.screens.looks import LOOKS, PLAIN
from netwatch.screens.packets import packet_page
from netwatch.screens.pages import Page, page, second_page
from netwatch.screens.source import Actions, Source
from netwatch.screens.tapes import Tapes
from netwatch.screens.trust import trust
from netwatch.screens.view import filtered, headed
from netwatch.story.snapshot import Snapshot


@dataclass(frozen=True, slots=True)
class Place:
    """Where one is: a view, and what a page shows."""

    view: str
    opened: Hashable = None


class NetwatchApp(Deeds, Tapes):
    """``actions`` is None in replay: the keys that need it are hidden. ``look`` is a name in LOOKS; NO_COLOR overrides it."""

    TITLE = "netwatch"
    CSS = """
    Screen { layers: base above; overflow: hidden; }
    #band { layer: above; dock: top; display: none; }
    #trust { height: 3; background: $panel; }
    Lines, LevelsView { height: 1fr; }
    Ask { height: auto; padding: 0 1; background: $panel; }
    Ask Static { height: auto; }
    #keys { height: 1; background: $panel; }
    Answer, Answer:focus { background: $background; background-tint: $background; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("question_mark", "help", "Help"),
        Binding("1", "view('first')", "First"),
        Binding("2", "view('light')", "Light"),
        Binding("3", "view('boxes')", "Boxes"),
        Binding("4", "view('ends')", "Runs out"),
        Binding("5", "view('evening')", "Evening"),
        Binding("w", "view('see')", "See?"),
        Binding("m", "mark", "Mark"),
        Binding("a", "known", "Known, leave it"),
        Binding("x", "mended", "Mended"),
        Binding("q", "end", "Quit"),
        Binding("J", "join", "Join"),
        Binding("p", "phase", "Phase"),
        Binding("n", "newest", "Newest alert at now"),
        Binding("slash", "find", "Find lines"),
        Binding("o", "second", "Page for a second screen"),
        Binding("c", "copy", "Copy as text"),
        Binding("t", "look", "Another look"),
        Binding("space", "still", "Stand still, go on"),
        Binding("comma", "jump(-1)", "Moment before"),
        Binding("full_stop", "jump(1)", "Next moment"),
        Binding("left_square_bracket", "shift(-10)", "10 s back"),
        Binding("right_square_bracket", "shift(10)", "10 s on"),
        Binding("minus", "hasten(False)", "Slower"),
        Binding("plus", "hasten(True)", "Faster"),
        Binding("g", "go", "Go to a time"),
        Binding("escape", "leave", "Back"),
        Binding("ctrl+c", "interrupt", "Quit", show=False, priority=True),
    ]

    def __init__(self, source: Source, *, actions: Actions | None = None, look: str = "dark", sound: str = "never") -> None:
        if os.environ.get("NO_COLOR") == "":
            del os.environ["NO_COLOR"]  # empty means not set, but not to Textual
        plain = "NO_COLOR" in os.environ
        super().__init__(sound=sound, ansi_color=True if plain else None)
        self.animation_level = "none"
        self.look = PLAIN if plain else LOOKS[look]
        self.source = source
        self.actions = actions
        self.frozen = False
        self._here = Place("first")
        self._spots: dict[Place, Spot] = {}
        self._trail: list[Place] = []
        """Where Esc leads."""
        self._page: Page | None = None
        self._only: dict[str, str] = {}
        """What lists are narrowed to, by view."""
        self._seen: set[int] | None = None
        """Alerts at 'now' that the band has shown; None before the first picture."""
        self._band: int | None = None

    def compose(self) -> ComposeResult:
        yield Told(id="band", indent=1)
        yield Told(id="trust", indent=1)
        yield Lines(id="list")
        yield LevelsView(id="levels")
        yield Ask()
        yield keys.Keys(id="keys")

    def on_mount(self) -> None:
        for look in (*LOOKS.values(), PLAIN):
            self.register_theme(look.theme)
        self.lines = self.query_one(Lines)
        self.snapshot = self.source.snapshot()
        self._wear()
        self._go(Place("first"))
        self.pull()
        earlier = self.actions.earlier() if self.actions is not None else None
        if earlier:
            self.query_one(Ask).tell(earlier)

    def on_ready(self) -> None:
        self.source.begin()

    # ---- drawing ----

    def draw(self, spot: Spot | None = None) -> None:
        """Draw the lines on top and the view that is seen; ``spot`` = where to be in it, else nothing moves."""
        if self.snapshot is None:
            return
        with self.batch_update():
            self._draw_band(self.snapshot)
            self.draw_keys()
            self._tell("#trust", trust(self.snapshot, max(self.size.width - 2, 1), self.look, self.time_text()))
            if self._here.view == "levels":
                self.query_one(LevelsView).show(self._here.opened, self.snapshot, self.look)
            else:
                self.lines.show(self._picture(self.snapshot), spot)

    def _tell(self, field: str, lines: Sequence[Text]) -> None:
        told = self.query_one(field, Told)
        if told.size.height != len(lines):
            told.styles.height = len(lines)
        told.tell(lines)

    def draw_keys(self) -> None:
        """The bottom line, for what is seen and asked."""
        here = self._here.view
        shown: Sequence[keys.Key] = keys.ASKING
        if not self.query_one(Ask).asking:
            first = [keys.BACK] if self._trail or here in self._only else []
            first += keys.LEVELS if here == "levels" else ()
            on_alert = self.actions is not None and isinstance(opened := self._here.opened, tuple) and opened[0] == "alert"
            first += [*(keys.ALERT if on_alert else ()), keys.HELP]
            last = [keys.PLAY] if self.source.tape is not None else []
            last += [keys.MARK] if self.actions is not None else []
            ways = [[*first, *each, *last, keys.QUIT] for each in (keys.SCREENS, keys.FEW, ())]
            shown = next((way for way in ways if keys.fits(way, self.size.width)), ways[-1])
        self.query_one(keys.Keys).show(shown, self.size.width, self.look)

    def _draw_band(self, snapshot: Snapshot) -> None:
        """A new alert at 'now' stands above everything until it is opened or put away."""
        standing = [] if self.source.reading else band.standing(snapshot)
        if self._seen is None and not self.source.reading:
            self._seen = {each.id for each in standing} if self.source.tape is not None or self._here.view == "first" else set()
        fresh = [each for each in standing if each.id not in (self._seen or ())]
        self._band = fresh[-1].id if fresh else None
        self.query_one("#band").display = bool(fresh)
        if fresh:
            self._tell("#band", band.lines(fresh[-1], len(fresh), self.size.width, self.look))

    def on_resize(self) -> None:
        self.draw()

    def _picture(self, snapshot: Snapshot) -> Build:
        look, name, tape = self.look, self._here.view, self.source.tape
        span = None if tape is None else (tape.first, tape.last)
        pictures: dict[str, Build] = {
            "first": lambda size: first.rows(snapshot, size, look),
            "light": headed(lambda width: light.heading(width, look), lambda size: light.rows(snapshot, size, look)),
            "boxes": headed(lambda width: boxes.heading(width, look), lambda size: boxes.rows(snapshot, size, look)),
            "ends": headed(lambda width: ends.heading(width, look), lambda size: ends.rows(snapshot, size, look)),
            "evening": lambda size: evening.rows(snapshot, size, look, span),
            "see": headed(lambda width: see.heading(width, look), lambda size: see.rows(size, look)),
        }
        picture = pictures.get(name) or self._page_picture(snapshot)
        return filtered(picture, self._only[name], look) if name in self._only else picture

    def _page_picture(self, snapshot: Snapshot) -> Build:
        """The page as it is now; where its subject is gone, as it last was."""
        self._page = self._made(self._here.opened, snapshot) or self._page
        shown = self._page
        return headed(shown.head, shown.rows) if shown else lambda size: []

    def _made(self, opened: Hashable, snapshot: Snapshot) -> Page | None:
        match opened:
            case ("help", view):
                return help_page(str(view), self.actions is not None, self.source.tape is not None, self.look)
            case ("why", str(protocol), int(number), what):
                return see.way(self.source.why(protocol, number, None if what is None else str(what)), snapshot, self.look)
            case ("whatever", str(what)):
                return see.whatever(what, snapshot, self.look)
            case ("named", str(text)):
                return see.named(text, snapshot, self.look)
            case ("second",):
                return second_page(self.actions.second_screen() if self.actions is not None else None, self.look)
            case ("packet", int(number)):
                return packet_page(number, self.source.packet(number), self.look)
            case _:
                return page(opened, snapshot, self.look)

    def _wear(self) -> None:
        """Put on the look."""
        self.theme = self.look.theme.name
        self.lines.wear(self.look)

    # ---- keys that change what is seen ----

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action in ("join", "mark", "phase", "second", "known", "mended"):
            return self.actions is not None
        if action in ("jump", "shift", "hasten", "go"):
            return self.source.tape is not None
        return not (action == "look" and self.look is PLAIN)

    def _go(self, place: Place) -> None:
        """Show a place, and in it the spot where one was."""
        if self._here.view != "levels":
            self._spots[self._here] = self.lines.spot
        self._here, levels = place, place.view == "levels"
        view = self.query_one(LevelsView)
        if view.display != levels:
            self.lines.display, view.display = not levels, levels
        if levels:
            view.begin(self.source, place.opened)
            self.snapshot = self.source.snapshot()
            view.focus()
        else:
            self.lines.focus()
        self.draw(self._spots.get(place, Spot()))

    def on_ask_changed(self) -> None:
        self.draw_keys()

    def action_answer(self) -> None:
        self.query_one(Ask).submit()

    def action_view(self, name: str) -> None:
        """Show a view."""
        self._trail.clear()
        self._go(Place(name))

    def open(self, what: Hashable) -> None:
        """Show one thing; Esc leads back."""
        self._trail.append(self._here)
        if isinstance(what, tuple) and what[0] == "universe":
            self._go(Place("levels", what))
            return
        self._page = None
        self._spots.pop(Place("page", what), None)
        self._go(Place("page", what))

    def action_help(self) -> None:
        if not (isinstance(self._here.opened, tuple) and self._here.opened[0] == "help"):
            self.open(("help", self._here.view))

    def action_second(self) -> None:
        self.open(("second",))

    def action_leave(self) -> None:
        """One step back: the question, the band, the filter, the page, the view."""
        ask = self.query_one(Ask)
        if ask.asking:
            ask.action_cancel()
        elif self._band is not None:
            self._put_band_away()
        elif self._only.pop(self._here.view, None) is not None:
            self._anew()
        elif self._trail:
            self._page = None
            self._go(self._trail.pop())
        else:
            self._go(Place("first"))

    def _put_band_away(self) -> None:
        if self.snapshot is not None:
            self._seen = (self._seen or set()) | {each.id for each in band.standing(self.snapshot)}
        self.draw()

    def action_newest(self) -> None:
        """Open the alert that the band shows, else the newest at 'now'."""
        standing = band.standing(self.snapshot) if self.snapshot is not None else []
        if standing:
            wanted = self._band if self._band is not None else standing[-1].id
            self._put_band_away()
            self.open(("alert", wanted))
        else:
            self.query_one(Ask).tell("No alert at 'now' is open.")

    def action_look(self) -> None:
        names = list(LOOKS)
        self.look = LOOKS[names[(names.index(self.look.name) + 1) % len(names)]]
        self._wear()
        self.draw()

    @work(group="ask")
    async def action_find(self) -> None:
        """Narrow a list to lines that hold all words."""
        words = await self.query_one(Ask).ask("Show only lines with these words. Enter alone shows all again.")
        if words is None or self._here.view in ("page", "levels"):
            return
        self._only.pop(self._here.view, None)
        if words.strip():
            self._only[self._here.view] = words.strip()
        self._anew()

    def _anew(self) -> None:
        """Draw a list from its top."""
        self.draw(Spot())

    def action_copy(self) -> None:
        """Copy the page, or the line under the cursor, as text."""
        if self._here.view == "page" and self._page is not None:
            text = self._page.text
        elif self._here.view == "levels":
            text = self.query_one(LevelsView).text
        else:
            text = self.lines.text_here
        self.copy_to_clipboard(text)
        self.query_one(Ask).tell("Copied." if text else "There is nothing to copy here.")

    def on_lines_chosen(self, event: Lines.Chosen) -> None:
        """Enter, or a click on the line with the cursor."""
        self._choose(event.key)

    def alert_here(self) -> int | None:
        """Id of the alert that is opened, or that the cursor is on."""
        view = self._here.view
        key = self._here.opened if view == "page" else None if view == "levels" else self.lines.key
        while isinstance(key, tuple) and key[0] == "link":
            key = key[2]
        match key:
            case ("alert" | "more", int(number)):
                return number
            case ("moment", _, _, int(number)):
                return number
            case ("check", name):
                checks = self.snapshot.checks if self.snapshot is not None else ()
                return next((each.alert for each in checks if each.name == name), None)
        return None

    def _choose(self, key: Hashable) -> None:
        snapshot = self.snapshot
        match key:
            case ("link", _, inner):
                self._choose(inner)
            case ("check", name) if snapshot is not None:
                alert = next((c.alert for c in snapshot.checks if c.name == name and c.state == "WRONG"), None)
                self.open(key if alert is None else ("alert", alert))
            case ("ending", *_) if snapshot is not None:
                found = ends.target(key, snapshot)
                if found is not None:
                    self.open(found)
            case ("moment", _, at, alert):
                self.moment(int(str(at)), alert)
            case ("phrase", str(see_key)):
                self._ask_where(see_key)
            case _:
                self.open(key)

    @work(group="ask")
    async def _ask_where(self, what: str) -> None:
        """After the phrase: a universe, a place or box, or nothing."""
        answer = await self.query_one(Ask).ask(see.QUESTION)
        if answer is None:
            return
        number = see.asked(answer)
        if number is not None:
            self.open(("why", *number, what))
        else:
            self.open(("named", answer) if answer.strip() else ("whatever", what))

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """Every key's deed by its name."""
        for title, told, action in COMMANDS:
            name, parameters = action.partition("(")[0], ()
            if self.check_action(name, parameters):
                yield SystemCommand(title, told, self._runner(action))

    def _runner(self, action: str) -> Callable[[], object]:
        async def run() -> None:
            await self.run_action(action)

        return run
