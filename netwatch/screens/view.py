"""Pictures of lists: a heading that stays on top, and rows; all of them, or those that hold some words."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from rich.text import Text
from textual.geometry import Size

from netwatch.screens.lines import Build, Row
from netwatch.screens.looks import Look

VERY_WIDE = 400
"""Cells in which nothing is cut, so that all words can be found."""


def headed(heading: Callable[[int], Text], rows: Callable[[Size], Sequence[Row]]) -> Build:
    """``heading`` for so many cells stays above the rows."""
    return lambda size: [_head(heading(size.width)), *rows(size)]


def filtered(build: Build, words: str, look: Look) -> Build:
    """Only rows in which all words stand, and a heading that says so."""
    wanted = words.lower().split()

    def holds(row: Row) -> bool:
        told = " ".join(line.plain for line in row.draw()).lower()
        return all(word in told for word in wanted)

    def rows(size: Size) -> Sequence[Row]:
        kept = {row.key for row in build(Size(VERY_WIDE, size.height)) if row.chosen and holds(row)}
        said = f"Only lines with '{words}' ({len(kept)}); Esc shows all again"
        heading = Text(said if said.isprintable() else ascii(said), look.strong)
        return [_head(heading), *(row for row in build(size) if row.key in kept)]

    return rows


def _head(text: Text) -> Row:
    return Row("head", lambda: [text], chosen=False, stays=True)
