"""``netwatch laptop --tonight`` as text."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from netwatch.words import tonight as words

from .layout import Line, hang, painted, wrap

MARGIN = 26


class Item(Protocol):
    """One thing that has to work."""

    @property
    def name(self) -> str: ...

    @property
    def state(self) -> str: ...

    @property
    def text(self) -> str: ...

    @property
    def do(self) -> str: ...


def render(items: Sequence[Item], *, colour: bool = False, width: int = 80) -> str:
    """Lines of at most ``width`` cells (50 at least)."""
    width = max(width, 50)
    lines = [Line(text, "head") for text in wrap(words.HEAD, width)] + [Line("")]
    for each in items:
        mark, style = ("!", "soon") if each.state == words.WRONG else (" ", "")
        lines += [Line(text, style) for text in hang(f"{mark} {each.state:9} {each.name}", each.text, width, MARGIN)]
        if each.do:
            lines += [Line(text) for text in hang("", each.do, width, MARGIN)]
    if not any(each.state == words.WRONG for each in items):
        lines += [Line(""), *(Line(text) for text in wrap(words.ALL_FINE, width))]
    return painted(lines, colour)
