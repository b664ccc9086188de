"""Spreadsheets as rows of text: comma, semicolon or tab; UTF-8, UTF-16 or Windows-1252; .xlsx."""

from __future__ import annotations

import csv
import io
import zipfile
import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any, TypeAlias

from netwatch.plan.rig import PlanError
from netwatch.words.hidden import tidy

Row: TypeAlias = tuple[int, list[str]]
"""(row number as the spreadsheet counts, cells)."""
DELIMITERS = ",;\t"
MOST_BYTES, MOST_UNPACKED = 16 << 20, 256 << 20
MOST_ROWS, MOST_COLUMNS = 10_000, 256
"""More than any rig has (common practice, no source)."""
DATED = "\x00date "
"""In front of a cell that the spreadsheet program turned into a date."""
_OLD, _ZIP = b"\xd0\xcf\x11\xe0", b"PK\x03\x04"


@dataclass(frozen=True, slots=True)
class Page:
    """One table: of a text file the only one."""

    name: str
    rows: list[Row]


def pages(path: Path, fits: Callable[[Sequence[Row]], int]) -> list[Page]:
    """All tables of a file; ``fits`` says how well rows look like a plan, to find the delimiter. Raises ``PlanError``."""
    try:
        data = path.read_bytes()
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise PlanError(f"{path}: this spreadsheet can't be read ({reason}); check the name.") from None
    if len(data) > MOST_BYTES:
        raise PlanError(f"{path}: {len(data) >> 20} MiB is too much for a plan; save the table of devices alone.")
    if data.startswith(_OLD):
        raise PlanError(f"{path}: this is an old .xls file, or one with a password; save it as .xlsx or CSV without one.")
    if data.startswith(_ZIP):
        return [Page(name, list(rows)) for name, rows in _xlsx(path, data)]
    return [Page("", max(_splits(_text(path, data)), key=fits))]


# ---- text ----


def _text(path: Path, data: bytes) -> str:
    """Decoded by its byte order mark, else as UTF-8, else as Windows-1252."""
    for mark, encoding in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(mark):
            encodings = [encoding]
            break
    else:
        encodings = ["utf-8", "cp1252"]
    for encoding in encodings:
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text
    raise PlanError(f"{path}: this is neither text nor .xlsx; save the table as CSV in UTF-8.")


def _splits(text: str) -> Iterator[list[Row]]:
    """The rows under each delimiter; a first line 'sep=;' is Excel's word on it and no row."""
    first, _, rest = text.partition("\n")
    if first.strip().lower().startswith("sep=") and len(first.strip()) == 5:
        yield _split(rest, first.strip()[4], 2)
        return
    for delimiter in DELIMITERS:
        yield _split(text, delimiter, 1)


def _split(text: str, delimiter: str, first: int) -> list[Row]:
    """A cell may hold line breaks, so rows are counted as the spreadsheet does."""
    rows: list[Row] = []
    try:
        for number, cells in enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter), first):
            rows.append((number, [tidy(cell) for cell in cells[:MOST_COLUMNS]]))
            if len(rows) == MOST_ROWS:
                break
    except csv.Error:
        pass  # a broken quote: what was read stands, and fits less well
    return rows


# ---- .xlsx ----


def _xlsx(path: Path, data: bytes) -> Iterator[tuple[str, Iterator[Row]]]:
    """The visible sheets of a workbook, with the values that its formulas had when it was saved."""
    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    broken = PlanError(f"{path}: this is no whole .xlsx file; save it again as .xlsx, or as CSV.")
    if not _whole(path, data):
        raise broken
    try:
        book = openpyxl.load_workbook(io.BytesIO(data), data_only=True, keep_links=False)
    except (InvalidFileException, LookupError, ValueError, TypeError, SyntaxError, AttributeError, ArithmeticError, OSError):
        raise broken from None  # the library has no error of its own for XML that is not what it expects
    for sheet in book.worksheets:
        if sheet.sheet_state == "visible":
            yield sheet.title, _rows(sheet)


def _whole(path: Path, data: bytes) -> bool:
    """Is it a zip file whose sums agree? Raises ``PlanError`` where it would unpack to too much."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            if sum(each.file_size for each in packed.infolist()) > MOST_UNPACKED:
                raise PlanError(f"{path}: unpacked, this is too much for a plan; save the table of devices alone.")
            return packed.testzip() is None
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError):
        return False


def _rows(sheet: Any) -> Iterator[Row]:
    """What is merged downwards stands in each of its rows."""
    down = {
        (row, each.min_col): each.start_cell.value
        for each in sheet.merged_cells.ranges if each.min_col == each.max_col
        for row in range(each.min_row, min(each.max_row, MOST_ROWS) + 1)
    }  # fmt: skip
    cells = sheet.iter_rows(max_row=min(sheet.max_row, MOST_ROWS), max_col=min(sheet.max_column, MOST_COLUMNS), values_only=True)
    for number, row in enumerate(cells, 1):
        yield number, [_cell(down.get((number, column), value)) for column, value in enumerate(row, 1)]


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime | date):
        return f"{DATED}{value:%Y-%m-%d}"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return tidy(str(value))
