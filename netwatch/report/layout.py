"""Text in columns of terminal cells: wrapping, cutting, hanging labels, tables. Nothing here can emit a control character."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from netwatch.words.phrases import number, plain

GAP = "  "
CUT = "..."


@dataclass(frozen=True, slots=True)
class Line:
    """One line and how it may be lifted out where colour is wanted: '' or a key of ``STYLES``."""

    text: str
    style: str = ""


STYLES = {"head": "1", "now": "1;7", "soon": "1;35", "quality": "1", "tidy": "", "note": "", "": ""}
"""SGR parameters. Weight, reverse and one hue that is readable on black and on white; the text says the same without."""


def painted(lines: Sequence[Line], colour: bool) -> str:
    """The lines as one text with a newline at the end of each."""
    return "".join(f"\x1b[{STYLES[e.style]}m{e.text}\x1b[0m\n" if colour and STYLES[e.style] else f"{e.text}\n" for e in lines)


def cells(text: str) -> int:
    """Terminal cells that ``text`` takes: wide East Asian signs two, combining ones none."""
    return len(text) if text.isascii() else sum(_cell(c) for c in text)


def cut(text: str, width: int) -> str:
    """``text`` in at most ``width`` cells, what is missing shown by '...'."""
    if cells(text) <= width:
        return text
    return _head(text, width - len(CUT)).rstrip() + CUT if width > len(CUT) else _head(text, width)


def wrap(text: str, width: int) -> list[str]:
    """``text`` in lines of at most ``width`` cells, broken between words; a word longer than a line is broken inside."""
    lines = [""]
    for word in plain(text).split(" "):
        rest = word
        if lines[-1] and cells(lines[-1]) + 1 + cells(rest) <= width:
            lines[-1] += " " + rest
            continue
        if lines[-1]:
            lines.append("")
        while cells(rest) > width:
            head = _head(rest, width) or rest[0]
            lines[-1] = head
            lines.append("")
            rest = rest[len(head) :]
        lines[-1] = rest
    return lines if lines[-1] or len(lines) == 1 else lines[:-1]


def hang(label: str, text: str, width: int, indent: int) -> list[str]:
    """``label`` in the margin of ``indent`` cells, ``text`` wrapped beside it."""
    body = wrap(text, max(width - indent, 8))
    margin = label + " " * max(indent - cells(label), 1)
    return [f"{margin}{body[0]}".rstrip(), *(" " * indent + line for line in body[1:])]


@dataclass(frozen=True, slots=True)
class Column:
    """A table's column. Only words may be cut; part of an address or a number would be wrong."""

    head: str
    may_cut: bool = False


def table(columns: Sequence[Column], rows: Sequence[Sequence[str]], width: int, most: int) -> list[str]:
    """Rows under their heads, columns without any value left out; beyond ``most`` rows 'and 12 more'.

    Where the columns do not fit, each row is a wrapped paragraph.
    """
    shown = [[plain(value) for value in row] for row in rows[:most]]
    kept = [i for i in range(len(columns)) if any(row[i] for row in shown)]
    grid = [[columns[i].head for i in kept], *([row[i] for i in kept] for row in shown)]
    left = [f"and {number(len(rows) - most)} more"] if len(rows) > most else []
    widths = _widths([columns[i] for i in kept], grid, width)
    if widths is None:
        return [line for row in grid[1:] for line in hang("-", _told(grid[0], row), width, 2)] + left
    return [GAP.join(_padded(v, w) for v, w in zip(row, widths, strict=True)).rstrip() for row in grid] + left


def _told(heads: Sequence[str], row: Sequence[str]) -> str:
    """A row as a sentence: 'sACN 1-24, From Gatehouse desk, Priority 100'."""
    return ", ".join([row[0], *(f"{head} {value}" for head, value in zip(heads[1:], row[1:], strict=True) if value)])


def _widths(columns: Sequence[Column], grid: Sequence[Sequence[str]], width: int) -> list[int] | None:
    """Cells for each column, the widest cut first and down to 12; None where that isn't enough."""
    widths = [max(cells(row[i]) for row in grid) for i in range(len(columns))]
    over = sum(widths) + len(GAP) * (len(widths) - 1) - width
    while over > 0:
        wide = [i for i, column in enumerate(columns) if column.may_cut and widths[i] > max(12, cells(column.head))]
        if not wide:
            return None
        widths[max(wide, key=lambda i: widths[i])] -= 1
        over -= 1
    return widths


def _padded(text: str, width: int) -> str:
    short = cut(text, width)
    return short + " " * (width - cells(short))


def _head(text: str, width: int) -> str:
    """The longest beginning of ``text`` within ``width`` cells."""
    taken = 0
    for i, c in enumerate(text):
        taken += _cell(c)
        if taken > width:
            return text[:i]
    return text


def _cell(c: str) -> int:
    if unicodedata.combining(c) or unicodedata.category(c) in ("Mn", "Me"):
        return 0
    return 2 if unicodedata.east_asian_width(c) in "WF" else 1
