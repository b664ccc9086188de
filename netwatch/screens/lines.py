"""A list that stands still: it draws only the lines that are seen, and keeps the row with the cursor where it is.

Nothing here knows what the rows mean.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from itertools import accumulate, takewhile
from typing import ClassVar

from rich.style import Style
from rich.text import Text
from textual import events
from textual.binding import Binding, BindingType
from textual.geometry import Size
from textual.message import Message

from netwatch.screens.drawn import Drawn, Line
from netwatch.screens.looks import Look


@dataclass(frozen=True, slots=True)
class Row:
    """One entry of one or more lines. ``draw`` gives ``height`` lines and is called only for rows that are seen."""

    key: Hashable
    """The same for the same thing in the next snapshot."""
    draw: Callable[[], Sequence[Text]]
    height: int = 1
    chosen: bool = True
    """The cursor can stand on it."""
    stays: bool = False
    """It stands on top while the rest scrolls; one line."""


Build = Callable[[Size], Sequence[Row]]
"""Rows for a list that has so many cells for text. Those that stay come first."""


@dataclass(frozen=True, slots=True)
class Spot:
    """Where one is in a list."""

    key: Hashable | None = None
    """Of the row with the cursor."""
    top: int = 0
    """First line that is seen."""


POINTER, NO_POINTER = "> ", "  "
BAR = "\u2590"
WHEEL = 3
"""Lines that a step of the mouse wheel scrolls."""


class Lines(Drawn, can_focus=True):
    """Rows with a cursor, or, where the cursor can stand on none, a page that scrolls."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "choose", "Open"),
        Binding("up,k", "move(-1)", "Up"),
        Binding("down,j", "move(1)", "Down"),
        Binding("pageup", "page(-1)", "Page up"),
        Binding("pagedown", "page(1)", "Page down"),
        Binding("home", "end(False)", "Top"),
        Binding("end", "end(True)", "Bottom"),
    ]

    class Chosen(Message):
        """Enter, or a click on the row with the cursor."""

        def __init__(self, key: Hashable) -> None:
            super().__init__()
            self.key = key

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._cursor, self._bar = Style(), Style()
        self.key: Hashable | None = None
        """Key of the row with the cursor."""
        self.top = 0
        """First line that is seen."""
        self.rows: Sequence[Row] = ()
        self._stay: Sequence[Row] = ()
        self._build: Build = lambda size: ()
        self._index: dict[Hashable, int] = {}
        self._places: list[int] = []
        """Indices of the rows on which the cursor can stand."""
        self._tops: list[int] = [0]
        """First line of each row, and the number of lines."""
        self._long = 0
        """Lines of all, also empty ones below that keep a row where it is."""
        self._drawn: dict[int, Sequence[Text]] = {}

    @property
    def room(self) -> Size:
        """Cells for text, without pointer, bar, and what stays on top."""
        return Size(max(self.size.width - len(POINTER) - len(BAR), 1), max(self.size.height - len(self._stay), 1))

    @property
    def text_here(self) -> str:
        """The row with the cursor, to be copied."""
        at = self._index.get(self.key)
        return "" if at is None else " ".join(line.plain.strip() for line in self.rows[at].draw())

    @property
    def spot(self) -> Spot:
        """Where one is."""
        return Spot(self.key, self.top)

    def wear(self, look: Look) -> None:
        """Put on the look of the cursor, and of the bar, which the cursor's line doesn't colour."""
        self._cursor = look.style("cursor")
        self._bar = look.style("bar") + Style(bgcolor=look.ground or None, reverse=False)
        self.forget_picture()

    def show(self, build: Build, spot: Spot | None = None) -> None:
        """Draw what ``build`` gives, now and whenever the size changes. ``spot`` = it is another list, and one was there."""
        self._build = build
        if spot is not None:
            self.key, self.top = spot.key, spot.top
            self._hold(())
        if not self.size:
            return
        anchor, was_at = self._anchor(), self._index.get(self.key, 0)
        above, at_top = self._top(anchor) - self.top, self.top
        for _ in range(2):  # once more, where what stays on top takes more room, or less, than before
            room = self.room
            self._hold(build(room))
            if room == self.room:
                break
        if self._index.get(self.key) not in self._places:
            self.key = self.rows[min(self._places, key=lambda at: abs(at - was_at))].key if self._places else None
        wanted = at_top if spot is not None else max(self._top(anchor) - above, 0) if anchor in self._index else 0
        # empty lines below, where without them the row could not stay where it is
        self._long = max(self._tops[-1], wanted + self.room.height if wanted and spot is None else 0)
        self._scroll(wanted)
        if spot is not None:
            self._reveal()

    def on_resize(self) -> None:
        self.forget_picture()
        self.show(self._build)
        self._reveal()

    def line(self, y: int) -> Line:
        """Its text, and the cursor's style where the cursor is on it."""
        if y < len(self._stay):
            return Text.assemble(NO_POINTER, self._stay[y].draw()[0]), None
        line = y - len(self._stay) + self.top
        at = self._at(line)
        if at is None:
            return self._barred(Text(), y), None
        row, part = self.rows[at], line - self._tops[at]
        if at not in self._drawn:
            self._drawn[at] = row.draw()
        here = row.key == self.key
        text = Text.assemble(POINTER if here and part == 0 else NO_POINTER, self._drawn[at][part])
        return self._barred(text, y), self._cursor if here else None

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return bool(self._places) if action == "choose" else True

    def action_move(self, by: int) -> None:
        places = self._places
        at = bisect_right(places, self._index.get(self.key, 0)) - 1 + by if places else -1
        wanted = places[at] if 0 <= at < len(places) else None
        far = wanted is None or not self.top - 1 <= self._tops[wanted] <= self.top + self.room.height
        if far:  # text on which the cursor can't stand is read line by line
            self._scroll(self.top + by)
        elif wanted is not None:
            self._stand_on(wanted)

    def action_page(self, by: int) -> None:
        lines = by * max(self.room.height - 1, 1)
        if self._places:
            wanted = self._top(self.key) + lines
            self._stand_on(min(self._places, key=lambda at: abs(self._tops[at] - wanted)))
        else:
            self._scroll(self.top + lines)

    def action_end(self, bottom: bool) -> None:
        if self._places:
            self._stand_on(self._places[-1 if bottom else 0])
        self._scroll(self._tops[-1] - self.room.height if bottom else 0)

    def action_choose(self) -> None:
        if self.key is not None:
            self.post_message(self.Chosen(self.key))

    def on_click(self, event: events.Click) -> None:
        line = event.y - len(self._stay)
        if event.x >= self.size.width - len(BAR):
            self._scroll(self._long * line // self.room.height - self.room.height // 2)
            return
        at = self._at(line + self.top) if line >= 0 else None
        if at is None or not self.rows[at].chosen:
            return
        if self.rows[at].key == self.key:
            self.action_choose()
        else:
            self._stand_on(at)

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        event.stop()
        self._scroll(self.top + WHEEL)

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        event.stop()
        self._scroll(self.top - WHEEL)

    def _hold(self, rows: Sequence[Row]) -> None:
        self._stay = tuple(takewhile(lambda row: row.stays, rows))
        self.rows = rows = rows[len(self._stay) :]
        self._index = {row.key: at for at, row in enumerate(rows)}
        self._places = [at for at, row in enumerate(rows) if row.chosen]
        self._tops = [0, *accumulate(row.height for row in rows)]
        self._drawn.clear()

    def _at(self, line: int) -> int | None:
        """Index of the row at a line of the whole list."""
        return bisect_right(self._tops, line) - 1 if 0 <= line < self._tops[-1] else None

    def _top(self, key: Hashable | None) -> int:
        """First line of a row; 0 where there is none."""
        return self._tops[self._index[key]] if key in self._index else 0

    def _barred(self, text: Text, y: int) -> Text:
        """With its part of the bar that shows where one is, where not all is seen."""
        height, line = self.room.height, y - len(self._stay)
        if self._long <= height:
            return text
        size = max(height * height // self._long, 1)
        begin = (height - size) * self.top // (self._long - height)
        if not begin <= line < begin + size:
            return text
        text = text.copy()
        text.truncate(self.size.width - len(BAR), pad=True)
        return text.append(BAR, self._bar)

    def _anchor(self) -> Hashable | None:
        """The row that must not move: the one with the cursor if it is seen, else the first that is; none at the very start."""
        if self.key is None and not self.top:
            return None
        top, first = self._top(self.key), self._at(self.top)
        if self.key in self._index and 0 <= top - self.top < self.room.height:
            return self.key
        return None if first is None else self.rows[first].key

    def _stand_on(self, at: int) -> None:
        self.key = self.rows[at].key
        self._reveal()
        self.redraw()

    def _reveal(self) -> None:
        """Scroll as little as is needed to see the whole row with the cursor."""
        at = self._index.get(self.key)
        if at is None:
            return
        top, bottom, offset = self._tops[at], self._tops[at + 1], self.top
        if at == self._places[0]:
            self._scroll(0)
        elif top < offset:
            self._scroll(top)
        elif bottom > offset + self.room.height:
            self._scroll(min(top, bottom - self.room.height))

    def _scroll(self, line: int) -> None:
        """To a line, as far as there are lines; draws."""
        self.top = min(max(line, 0), max(self._long - self.room.height, 0))
        self.redraw()
