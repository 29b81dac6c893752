"""Tables in CSV and XLSX, read and written. Pure: bytes in, rows out, and the other way round.

A cell of text that a spreadsheet would take for a formula gets an apostrophe in front when written, and loses it when
read, so that a file of ours comes back as it went. Numbers stay numbers.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.utils.translation import gettext as _

from club.core.tables import TableRefused, read_lines
from inventory.equipment.xlsx import xlsx_bytes

FORMULA_BEGINS = ("=", "+", "-", "@", "\t", "\r")
XLSX_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

Cell = str | int | date | None


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
    """The rows of a CSV or XLSX file, by its headings (small letters, spaces as underscores). Raises TableRefused."""
    first, *lines = read_lines(data, name, other_encoding="cp1252")
    headings = ["_".join(_cell_text(cell).strip().lower().split()) for cell in first.cells]
    if len(set(filter(None, headings))) != len([one for one in headings if one]):
        raise TableRefused(_("A heading comes twice in the first row."))
    rows: list[Row] = []
    for number, cells in lines:
        told = zip(headings, map(_cell_text, cells), strict=False)
        rows.append(Row(number, {key: plain_text(text.strip()) for key, text in told if key}))
    return rows


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
