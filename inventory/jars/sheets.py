"""Reading a table from a CSV or XLSX file, and writing cells that no spreadsheet takes for a formula.

Pure but for openpyxl, which is imported only where a workbook is written: it takes its time to load.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext as _

from club.core.tables import TableRefused, read_lines

MOST_BYTES = 2_000_000
FORMULA = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True)
class Problem:
    """What is wrong, and where to look: file, row as the spreadsheet numbers it, column by its heading."""

    file: str
    row: int
    column: str
    message: str


@dataclass(frozen=True)
class SheetRow:
    number: int
    cells: dict[str, str]

    def get(self, column: str) -> str:
        return self.cells.get(column, "")


def read_sheet(name: str, content: bytes, *, needed: Iterable[str]) -> list[SheetRow]:
    """The rows below the heading, cells as plain text by the heading in small letters. TableRefused otherwise."""
    first, *lines = read_lines(content, name, most_bytes=MOST_BYTES)
    heads = [cell_text(cell).lower() for cell in first.cells]
    missing = [column for column in needed if column not in heads]
    if missing:
        text = _("The first row must name the columns. Missing: %(columns)s.")
        raise TableRefused(text % {"columns": ", ".join(missing)})
    return [SheetRow(line.number, dict(zip(heads, map(cell_text, line.cells), strict=False))) for line in lines]


def cell_text(cell: object) -> str:
    """A cell as a person would read it: whole numbers without a point, dates as 2026-09-14."""
    if cell is None:
        return ""
    if isinstance(cell, datetime):
        return cell.date().isoformat()
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    text = str(cell).strip()
    # Our own guard, see below, comes off again.
    return text[1:].strip() if text.startswith("'") and text[1:].startswith(FORMULA) else text


def guarded(value: object) -> object:
    """A text cell that would be a formula gets an apostrophe before it; numbers and dates stay what they are."""
    if value is None or isinstance(value, int | float | date):
        return value
    text = str(value)
    return f"'{text}" if text.startswith(FORMULA) else text


def csv_lines(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> Iterator[str]:
    """The table as CSV, line by line, so that a million rows need no memory."""
    out = io.StringIO()
    writer = csv.writer(out)
    for row in _with_heads(heads, rows):
        writer.writerow([guarded(cell) for cell in row])
        yield out.getvalue()
        out.seek(0)
        out.truncate()


def workbook_bytes(tables: Iterable[tuple[str, Sequence[str], Iterable[Sequence[object]]]]) -> bytes:
    """One sheet for each (title, headings, rows)."""
    import openpyxl

    book = openpyxl.Workbook(write_only=True)
    for title, heads, rows in tables:
        sheet = book.create_sheet(title)
        for row in _with_heads(heads, rows):
            sheet.append([_plain(guarded(cell)) for cell in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _plain(cell: object) -> Any:
    """A workbook holds no time zones: moments go in as text."""
    return cell.isoformat() if isinstance(cell, datetime) else cell


def _with_heads(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> Iterator[Sequence[object]]:
    yield heads
    yield from rows
