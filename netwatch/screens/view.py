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

Picture = Callable[[Size], tuple[Text | None, Sequence[Row]]]
"""Heading (None for no heading) and rows for so many cells."""


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

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "app.leave", "Back", key_display="Esc")]
