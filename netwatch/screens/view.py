"""A list under a heading; a page is one with no cursor."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.geometry import Size
from textual.widgets import Static

from netwatch.screens.lines import Lines, Row
from netwatch.screens.looks import Look

Picture = Callable[[Size], tuple[Text | None, Sequence[Row]]]
"""Heading (None for no heading) and rows for so many cells."""


VERY_WIDE = 400
"""Cells in which nothing is cut, so that all words can be found."""


def filtered(picture: Picture, words: str, look: Look) -> Picture:
    """Only rows in which all words stand, and a heading that says so."""
    wanted = words.lower().split()

    def holds(row: Row) -> bool:
        told = " ".join(line.plain for line in row.draw()).lower()
        return all(word in told for word in wanted)

    def build(size: Size) -> tuple[Text | None, Sequence[Row]]:
        kept = {row.key for row in picture(Size(VERY_WIDE, size.height))[1] if row.chosen and holds(row)}
        said = f"Only lines with '{words}' ({len(kept)}); Esc shows all again"
        heading = Text(said if said.isprintable() else ascii(said), look.strong)
        return heading, [row for row in picture(size)[1] if row.key in kept]

    return build


class View(Vertical):
    """One of the views of the first row of keys."""

    def compose(self) -> ComposeResult:
        heading = Static(markup=False, classes="heading")
        heading.display = False
        yield heading
        yield Lines()

    @property
    def lines(self) -> Lines:
        """The list."""
        return self.query_one(Lines)

    def show(self, picture: Picture) -> None:
        """Draw a picture now, and again whenever the size changes."""

        def build(size: Size) -> Sequence[Row]:
            heading, rows = picture(size)
            head = self.query_one(".heading", Static)
            head.display = heading is not None
            head.update(heading or "", layout=False)
            return rows

        self.lines.show(build)


class PageView(View):
    """Where one thing is shown by itself."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "app.leave", "Back")]
