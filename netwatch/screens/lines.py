"""A list that stands still: it draws only the lines that are seen, and keeps the row with the cursor where it is.

Nothing here knows what the rows mean.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import ClassVar

from rich.style import Style
from rich.text import Text
from textual import events
from textual.binding import Binding, BindingType
from textual.geometry import Region, Size
from textual.message import Message
from textual.scroll_view import ScrollView
from textual.strip import Strip


@dataclass(frozen=True, slots=True)
class Row:
    """One entry of one or more lines. ``draw`` gives ``height`` lines and is called only for rows that are seen."""

    key: Hashable
    """The same for the same thing in the next snapshot."""
    draw: Callable[[], Sequence[Text]]
    height: int = 1
    chosen: bool = True
    """The cursor can stand on it."""


Build = Callable[[Size], Sequence[Row]]
"""Rows for a list that has so many cells for text."""

POINTER, NO_POINTER = "> ", "  "


class Lines(ScrollView, can_focus=True):
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

    def __init__(self) -> None:
        super().__init__()
        self.cursor_style = Style()
        self.key: Hashable | None = None
        """Key of the row with the cursor."""
        self.rows: Sequence[Row] = ()
        self._build: Build = lambda size: ()
        self._index: dict[Hashable, int] = {}
        self._places: list[int] = []
        """Indices of the rows on which the cursor can stand."""
        self._tops: list[int] = [0]
        """First line of each row, and the number of lines."""
        self._drawn: dict[int, Sequence[Text]] = {}
        self._seen: list[tuple[bool, Text]] = []
        self._base: Style | None = None
        """The widget's own style, kept because working it out for each line is slow."""

    def notify_style_update(self) -> None:
        self._base = None
        super().notify_style_update()

    @property
    def room(self) -> Size:
        """Cells for text, without pointer and scroll bar."""
        region = self.scrollable_content_region
        return Size(max(region.width - len(POINTER), 1), max(region.height, 1))

    @property
    def text_here(self) -> str:
        """The row with the cursor, to be copied."""
        at = self._index.get(self.key)
        return "" if at is None else " ".join(line.plain.strip() for line in self.rows[at].draw())

    def show(self, build: Build) -> None:
        """Draw what ``build`` gives, now and whenever the size changes."""
        self._build = build
        if not self.size:
            return
        anchor, was_at = self._anchor(), self._index.get(self.key, 0)
        above = self._top(anchor) - self.scroll_offset.y
        self._hold(build(self.room))
        if self._index.get(self.key) not in self._places:
            self.key = self.rows[min(self._places, key=lambda at: abs(at - was_at))].key if self._places else None
        wanted = max(self._top(anchor) - above, 0) if anchor in self._index else 0
        # empty lines below, where without them the row could not stay where it is
        self.virtual_size = Size(self.room.width + len(POINTER), max(self._tops[-1], wanted + self.room.height if wanted else 0))
        self._scroll(wanted)
        self._redraw()

    def forget(self) -> None:
        """Start anew at the top, with the cursor on the first row."""
        self.key = None
        self._hold(())
        self._scroll(0)

    def on_resize(self) -> None:
        self._seen = []
        self.show(self._build)
        self._reveal()

    def watch_scroll_y(self, old_value: float, new_value: float) -> None:
        super().watch_scroll_y(old_value, new_value)
        self._seen = []

    def render_line(self, y: int) -> Strip:
        """One line of the screen; ``y`` counts from the top of the widget."""
        with_cursor, text = self._line(y)
        if self._base is None:
            self._base = self.rich_style
        strip = Strip(text.render(self.app.console, end="")).crop(0, self.size.width)
        style = self._base + self.cursor_style if with_cursor else self._base
        return strip.extend_cell_length(self.size.width).apply_style(style)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return bool(self._places) if action == "choose" else True

    def action_move(self, by: int) -> None:
        places, offset = self._places, self.scroll_offset.y
        at = bisect_right(places, self._index.get(self.key, 0)) - 1 + by if places else -1
        wanted = places[at] if 0 <= at < len(places) else None
        far = wanted is None or not offset - 1 <= self._tops[wanted] <= offset + self.room.height
        if far:  # text on which the cursor can't stand is read line by line
            self._scroll(offset + by)
        elif wanted is not None:
            self._stand_on(wanted)

    def action_page(self, by: int) -> None:
        lines = by * max(self.room.height - 1, 1)
        if self._places:
            wanted = self._top(self.key) + lines
            self._stand_on(min(self._places, key=lambda at: abs(self._tops[at] - wanted)))
        else:
            self._scroll(self.scroll_offset.y + lines)

    def action_end(self, bottom: bool) -> None:
        if self._places:
            self._stand_on(self._places[-1 if bottom else 0])
        self._scroll(self._tops[-1] - self.room.height if bottom else 0)

    def action_choose(self) -> None:
        if self.key is not None:
            self.post_message(self.Chosen(self.key))

    def on_click(self, event: events.Click) -> None:
        at = self._at(event.y + self.scroll_offset.y)
        if at is None or not self.rows[at].chosen:
            return
        if self.rows[at].key == self.key:
            self.action_choose()
        else:
            self._stand_on(at)

    def _hold(self, rows: Sequence[Row]) -> None:
        self.rows = rows
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

    def _line(self, y: int) -> tuple[bool, Text]:
        """Whether the cursor is on this line of the screen, and its text."""
        line = y + self.scroll_offset.y
        at = self._at(line)
        if at is None:
            return False, Text()
        row, part = self.rows[at], line - self._tops[at]
        if at not in self._drawn:
            self._drawn[at] = row.draw()
        here = row.key == self.key
        return here, Text.assemble(POINTER if here and part == 0 else NO_POINTER, self._drawn[at][part])

    def _anchor(self) -> Hashable | None:
        """The row that must not move: the one with the cursor if it is seen, else the first that is seen."""
        top, first = self._top(self.key), self._at(self.scroll_offset.y)
        if self.key in self._index and 0 <= top - self.scroll_offset.y < self.room.height:
            return self.key
        return None if first is None else self.rows[first].key

    def _stand_on(self, at: int) -> None:
        self.key = self.rows[at].key
        self._reveal()
        self._redraw()

    def _reveal(self) -> None:
        """Scroll as little as is needed to see the whole row with the cursor."""
        at = self._index.get(self.key)
        if at is None:
            return
        top, bottom, offset = self._tops[at], self._tops[at + 1], self.scroll_offset.y
        if at == self._places[0]:
            self._scroll(0)
        elif top < offset:
            self._scroll(top)
        elif bottom > offset + self.room.height:
            self._scroll(min(top, bottom - self.room.height))

    def _scroll(self, line: int) -> None:
        self.scroll_to(y=line, animate=False, force=True, immediate=True)

    def _redraw(self) -> None:
        """Ask for a new picture of those lines that changed, and no others."""
        seen = [self._line(y) for y in range(self.size.height)]
        changed = [y for y, line in enumerate(seen) if y >= len(self._seen) or line != self._seen[y]]
        self._seen = seen
        if changed:
            self.refresh(*(Region(0, y, self.size.width, 1) for y in changed))
