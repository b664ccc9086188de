"""Wrapping and tables. Cell widths are compared with rich's own table of widths (rich.cells)."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len

from netwatch.report.layout import Column, cells, cut, hang, table, wrap

WIDE = "灯台の灯り"
TEXT = st.text(alphabet="ab cdefgh -,.é灯台り\x1b\n\t\u202e", max_size=200)


@pytest.mark.parametrize("text", ["desk", "Bühne", WIDE, "e\u0301toile", "a灯b"])
def test_cells(text):
    assert cells(text) == cell_len(text)


@given(TEXT, st.integers(2, 60))
@settings(max_examples=200, deadline=None)
def test_wrapped_lines_fit_and_lose_nothing(text, width):
    lines = wrap(text, width)
    assert all(cell_len(line) <= width for line in lines)
    assert all(line.isprintable() for line in lines)
    clean = text.replace("\x1b", "?").replace("\u202e", "?")
    assert "".join("".join(lines).split()) == "".join(clean.split())


def test_cut():
    assert cut("Gatehouse desk", 14) == "Gatehouse desk"
    assert cut("Gatehouse desk", 12) == "Gatehouse..."
    assert cell_len(cut(WIDE, 8)) <= 8
    assert cut("desk", 2) == "de"


def test_hanging_label():
    assert hang("Do", "one two three", 12, 4) == ["Do  one two", "    three"]


def test_table_leaves_out_empty_columns_and_cuts_words_only():
    columns = [Column("Address"), Column("Where"), Column("Names", True)]
    rows = [["10.0.0.10", "", "Gatehouse desk"], ["10.0.0.9", "", "a long name of a box in the orchard"]]
    assert table(columns, rows, 28, 9) == [
        "Address    Names",
        "10.0.0.10  Gatehouse desk",
        "10.0.0.9   a long name of...",
    ]


def test_table_too_narrow_becomes_paragraphs():
    columns = [Column("Address"), Column("MAC"), Column("Names", True)]
    lines = table(columns, [["10.0.0.10", "02:00:00:00:00:10", "desk"]], 24, 9)
    assert lines == ["- 10.0.0.10, MAC", "  02:00:00:00:00:10,", "  Names desk"]


def test_long_table_is_cut():
    assert table([Column("N")], [[str(n)] for n in range(15)], 20, 3)[-1] == "and 12 more"
