"""Lists in columns: what fits is shown, the rest is left out from the least important on."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from rich.text import Text
from textual.geometry import Size

from netwatch.screens.lines import Row
from netwatch.screens.looks import Look
from netwatch.screens.words import cell
from netwatch.story.snapshot import Snapshot

Item = TypeVar("Item")
ROOMY = 100
"""Cells from which on columns stand two apart."""


@dataclass(frozen=True, slots=True)
class Column(Generic[Item]):
    """One column. ``width`` in cells; 0 takes what is left."""

    title: str
    width: int
    value: Callable[[Item, Snapshot], str]
    least: int = 0
    """Shown where the list has at least so many cells."""
    right: bool = False


def heading(columns: Sequence[Column[Item]], width: int, look: Look) -> Text:
    """The titles of the columns that fit."""
    return _join([(c.title, w, c.right) for c, w in _fit(columns, width)], width, look.faint)


def line(columns: Sequence[Column[Item]], item: Item, snapshot: Snapshot, width: int, style: str) -> Text:
    """One item in the columns that fit."""
    return _join([(c.value(item, snapshot), w, c.right) for c, w in _fit(columns, width)], width, style)


def nobody(text: str, size: Size, look: Look) -> Row:
    """What an empty list says."""
    return Row("nobody", lambda: [cell(text, size.width, look.text)], chosen=False)


def _gap(width: int) -> int:
    return 1 if width < ROOMY else 2


def _fit(columns: Sequence[Column[Item]], width: int) -> list[tuple[Column[Item], int]]:
    shown = [column for column in columns if width >= column.least]
    left = width - sum(column.width for column in shown) - _gap(width) * (len(shown) - 1)
    return [(column, column.width or max(left, 4)) for column in shown]


def _join(cells: list[tuple[str, int, bool]], width: int, style: str) -> Text:
    return Text(" " * _gap(width)).join([cell(value, w, style, right) for value, w, right in cells])
