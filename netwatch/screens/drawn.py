"""A widget that paints lines of text, and of those only the ones that changed.

It goes past Textual's own styling of each line (padding, borders, tints), which would cost most of the time between a key and its
picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from rich.style import Style
from rich.text import Text
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

Line = tuple[Text, Style | None]
"""A line, and what is laid over all of it."""


class Drawn(Widget):
    """Its lines come from ``line``; ``redraw`` looks which of them are new."""

    ALLOW_SELECT = False

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._seen: list[tuple[object, ...]] = []
        self._strips: dict[int, Strip] = {}

    def line(self, y: int) -> Line:
        """What stands on a line; ``y`` counts from the top of the widget."""
        raise NotImplementedError

    def redraw(self) -> None:
        """Ask for a new picture of those lines that changed, and no others."""
        lines = [self.line(y) for y in range(self.size.height)]
        seen: list[tuple[object, ...]] = [(text.plain, text.style, text.spans, over) for text, over in lines]
        changed = [y for y, told in enumerate(seen) if y >= len(self._seen) or told != self._seen[y]]
        self._seen = seen
        for y in changed:
            self._strips.pop(y, None)
        if changed:
            self.refresh(*_regions(changed, self.size.width))

    def forget_picture(self) -> None:
        """Nothing that was drawn holds any more."""
        self._seen = []
        self._strips.clear()

    def notify_style_update(self) -> None:
        self.forget_picture()
        super().notify_style_update()

    def on_resize(self) -> None:
        self.forget_picture()
        self.redraw()

    def render_lines(self, crop: Region) -> list[Strip]:
        if len(self._strips) < self.size.height:
            self._make()
        strips = [self._strips[y] for y in crop.line_range]
        whole = crop.column_span == (0, self.size.width)
        return strips if whole else [strip.crop(*crop.column_span) for strip in strips]

    def _make(self) -> None:
        """The lines that are missing, as they are painted."""
        base, width, console = self.rich_style, self.size.width, self.app.console
        filters, background = self.get_line_filters(), self.background_colors[1]
        for y in range(self.size.height):
            if y not in self._strips:
                text, over = self.line(y)
                style = base if over is None else base + over
                strip = Strip(text.render(console, end="")).adjust_cell_length(width).apply_style(style)
                for each in filters:
                    strip = strip.apply_filter(each, background)
                self._strips[y] = strip


class Told(Drawn):
    """Some lines of text; as high as it is told."""

    def __init__(self, *, id: str | None = None, indent: int = 0) -> None:
        super().__init__(id=id)
        self._indent = " " * indent
        self._lines: Sequence[Text] = ()

    def tell(self, lines: Sequence[Text]) -> None:
        """Show these from now on."""
        self._lines = lines
        self.redraw()

    def line(self, y: int) -> Line:
        text = self._lines[y] if y < len(self._lines) else Text()
        return (Text.assemble(self._indent, text) if self._indent else text), None


def _regions(lines: Sequence[int], width: int) -> list[Region]:
    """Neighbouring lines as one."""
    runs = [[y for _, y in run] for _, run in groupby(enumerate(lines), key=lambda each: each[1] - each[0])]
    return [Region(0, run[0], width, len(run)) for run in runs]
