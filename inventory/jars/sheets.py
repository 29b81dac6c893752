"""Reading a table from a CSV or XLSX file, and writing cells that no spreadsheet takes for a formula.

Pure but for openpyxl, which is imported only where a workbook is read or written: it takes its time to load.
"""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext as _

MOST_ROWS = 5_000
MOST_BYTES = 2_000_000
MOST_UNPACKED = 50_000_000  # a workbook is a zip file; one of a few bytes may unfold to fill the memory
FORMULA = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True)
class Problem:
    """What is wrong, and where to look: file, row as the spreadsheet numbers it, column by its heading."""

    file: str
    row: int
    column: str
    message: str


class SheetRefused(Exception):
    """The file cannot be read as a table at all. The message says what to do."""


@dataclass(frozen=True)
class SheetRow:
    number: int
    cells: dict[str, str]

    def get(self, column: str) -> str:
        return self.cells.get(column, "")


def read_sheet(name: str, content: bytes, *, needed: Iterable[str]) -> list[SheetRow]:
    """The rows below the heading, cells as plain text by the heading in small letters. SheetRefused otherwise."""
    if len(content) > MOST_BYTES:
        raise SheetRefused(_("The file is larger than 2 MB. Split it."))
    lines = _workbook(content) if name.lower().endswith(".xlsx") else _csv(content)
    table = [(number, [cell_text(cell) for cell in line]) for number, line in enumerate(lines, start=1)]
    filled = [(number, line) for number, line in table if any(line)]
    if not filled:
        raise SheetRefused(_("The file is empty."))
    heads = [head.lower() for head in filled[0][1]]
    missing = [column for column in needed if column not in heads]
    if missing:
        text = _("The first row must name the columns. Missing: %(columns)s.")
        raise SheetRefused(text % {"columns": ", ".join(missing)})
    if len(filled) - 1 > MOST_ROWS:
        raise SheetRefused(_("The file has more than %(n)s rows. Split it.") % {"n": MOST_ROWS})
    return [SheetRow(number, dict(zip(heads, line, strict=False))) for number, line in filled[1:]]


def _csv(content: bytes) -> Iterator[Sequence[object]]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise SheetRefused(_("The file is not UTF-8 text. Save it as “CSV UTF-8”, or as XLSX.")) from error
    if "\0" in text:
        raise SheetRefused(_("This is no CSV file. Save it as CSV or XLSX."))
    first = text.split("\n", 1)[0]
    mark = max(",;\t", key=first.count)
    try:
        yield from csv.reader(io.StringIO(text), delimiter=mark)
    except csv.Error as error:
        raise SheetRefused(_("This CSV file cannot be read: %(why)s.") % {"why": error}) from error


def _workbook(content: bytes) -> Iterator[Sequence[object]]:
    import openpyxl

    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            if sum(part.file_size for part in packed.infolist()) > MOST_UNPACKED:
                raise SheetRefused(_("The workbook is too large when unpacked. Keep only the sheet of counts."))
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    except SheetRefused:
        raise
    except Exception as error:  # a broken workbook may fail in as many ways as there are parts in it
        raise SheetRefused(_("This workbook cannot be read. Save it again as XLSX, or as CSV.")) from error
    sheet = book.worksheets[0]
    for number, line in enumerate(sheet.iter_rows(values_only=True)):
        if number > MOST_ROWS + 1:
            raise SheetRefused(_("The file has more than %(n)s rows. Split it.") % {"n": MOST_ROWS})
        yield line


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
