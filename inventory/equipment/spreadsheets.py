"""Tables in CSV and XLSX, read and written. Pure: bytes in, rows out, and the other way round.

A cell of text that a spreadsheet would take for a formula gets an apostrophe in front when written, and loses it when
read, so that a file of ours comes back as it went. Numbers stay numbers.
"""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.utils.translation import gettext as _

from inventory.equipment.xlsx import xlsx_bytes

MOST_BYTES = 5 * 1024 * 1024
MOST_UNPACKED = 60 * 1024 * 1024
MOST_ROWS = 5000
FORMULA_BEGINS = ("=", "+", "-", "@", "\t", "\r")
XLSX_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

Cell = str | int | date | None


class FileError(ValueError):
    """The file cannot be read as a table at all; the message says so to a person."""


@dataclass(frozen=True)
class Row:
    """A row under the headings: its number as a spreadsheet shows it, and its text by heading."""

    number: int
    cells: dict[str, str]


def safe_text(cell: Cell) -> Cell:
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(FORMULA_BEGINS) else cell


def plain_text(text: str) -> str:
    return text[1:] if text.startswith("'") and text[1:].startswith(FORMULA_BEGINS) else text


def read_table(data: bytes, name: str) -> list[Row]:
    """The rows of a CSV or XLSX file, by its headings (small letters, spaces as underscores). Raises FileError."""
    if len(data) > MOST_BYTES:
        raise FileError(_("The file is larger than 5 MB."))
    lines = _xlsx_lines(data) if data[:4] == b"PK\x03\x04" else _csv_lines(data)
    numbered = ((number, line) for number, line in enumerate(lines, start=1) if any(cell.strip() for cell in line))
    first = next(numbered, None)
    if first is None:
        raise FileError(_("The file is empty."))
    headings = ["_".join(cell.strip().lower().split()) for cell in first[1]]
    if len(set(filter(None, headings))) != len([one for one in headings if one]):
        raise FileError(_("A heading comes twice in the first row."))
    rows: list[Row] = []
    for number, line in numbered:
        if len(rows) >= MOST_ROWS:
            raise FileError(_("More than %(n)s rows: divide the file.") % {"n": MOST_ROWS})
        told = zip(headings, line, strict=False)
        rows.append(Row(number, {key: plain_text(cell.strip()) for key, cell in told if key}))
    return rows


def _csv_lines(data: bytes) -> Iterator[list[str]]:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    if "\0" in text:
        raise FileError(_("This is neither a CSV nor an XLSX file."))
    first_line = text.partition("\n")[0]
    delimiter = max(",;\t", key=first_line.count)
    try:
        yield from csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    except csv.Error as error:
        raise FileError(_("The CSV file is broken: %(why)s.") % {"why": error}) from error


def _xlsx_lines(data: bytes) -> Iterator[list[str]]:
    from openpyxl import load_workbook  # only who imports a spreadsheet waits for it

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            if sum(part.file_size for part in packed.infolist()) > MOST_UNPACKED:
                raise FileError(_("The file unpacks to more than 60 MB."))
        book = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        for line in book.worksheets[0].iter_rows(values_only=True):
            yield [_cell_text(cell) for cell in line]
        book.close()
    except FileError:
        raise
    except Exception as error:  # a broken workbook fails in openpyxl in more ways than can be named
        raise FileError(_("The XLSX file cannot be read.")) from error


def _cell_text(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return cell.date().isoformat() if isinstance(cell, datetime) else str(cell)


def write_csv(headings: Sequence[str], rows: Iterable[Sequence[Cell]]) -> Iterator[str]:
    """Line by line, so that a long export need not be held in memory."""
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    for row in _with_headings(headings, rows):
        writer.writerow([safe_text(cell) for cell in row])
        yield buffer.getvalue()
        buffer.seek(0)
        buffer.truncate()


def _with_headings(headings: Sequence[str], rows: Iterable[Sequence[Cell]]) -> Iterator[Sequence[Cell]]:
    yield headings
    yield from rows


def write_xlsx(headings: Sequence[str], rows: Iterable[Sequence[Cell]], *, title: str) -> bytes:
    return xlsx_bytes(title, ([safe_text(cell) for cell in row] for row in _with_headings(headings, rows)))
