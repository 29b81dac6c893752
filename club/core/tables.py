"""Tables in CSV and XLSX, read and written with the standard library. Bytes in, rows out, and the other way round.

Read within bounds, or refused in a sentence: a workbook is a zip of XML, which may unfold to fill the memory, claim a
million rows, or hold a cell that is no number, so it is read cell by cell and given up at the first bound it passes.

A cell of text that a spreadsheet would take for a formula gets an apostrophe in front when written, and loses it when
read, so that a file of ours comes back as it went. Numbers stay numbers. ECMA-376, parts 1 and 2.
"""

from __future__ import annotations

import csv
import io
import posixpath
import re
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import chain
from typing import NamedTuple
from xml.parsers import expat
from xml.sax.saxutils import escape, quoteattr

from django.utils.translation import gettext as _

MOST_BYTES = 5 * 1024 * 1024
MOST_ROWS = 5000  # below the headings
MOST_COLUMNS = 100
MOST_UNPACKED = 30 * 1024 * 1024  # of the parts that are read
MOST_ELEMENTS = 1_000_000  # of XML; 5,000 rows of 60 columns of numbers have two thirds of that
AT_ONCE = 64 * 1024

FORMULA_BEGINS = ("=", "+", "-", "@", "\t", "\r")
XLSX_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

Cell = str | int | float | bool | date | time | None


class TableRefused(ValueError):
    """The file cannot be read as a table at all; the message says so to a person, and what to do."""


class Line(NamedTuple):
    """A row that is not empty, with its number as a spreadsheet shows it."""

    number: int
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class Row:
    """A row under the headings: its number as a spreadsheet shows it, and its text by heading."""

    number: int
    cells: dict[str, str]

    def get(self, heading: str) -> str:
        return self.cells.get(heading, "")


@dataclass(frozen=True)
class Problem:
    """What is wrong with one cell, and where it stands: the row as a spreadsheet numbers it, the column's heading."""

    file: str
    row: int
    column: str
    message: str

    def __str__(self) -> str:
        place = _("%(file)s, row %(row)s, column %(column)s")
        return f"{place % {'file': self.file, 'row': self.row, 'column': self.column}}: {self.message}"


def read_table(
    content: bytes,
    name: str,
    *,
    needed: Iterable[str] = (),
    space: str = "_",
    other_encoding: str = "",
    most_bytes: int = MOST_BYTES,
) -> list[Row]:
    """The rows below the headings, which count in small letters with `space` between words. Raises TableRefused.

    A column without a heading is left out; one of `needed` must be there.
    """
    first, *lines = read_lines(content, name, other_encoding=other_encoding, most_bytes=most_bytes)
    headings = [space.join(cell_text(cell).lower().split()) for cell in first.cells]
    if len(set(filter(None, headings))) != len([one for one in headings if one]):
        raise TableRefused(_("A heading comes twice in the first row."))
    if missing := [heading for heading in needed if heading not in headings]:
        text = _("The first row must name the columns. Missing: %(columns)s.")
        raise TableRefused(text % {"columns": ", ".join(missing)})
    return [
        Row(number, {key: cell_text(cell) for key, cell in zip(headings, cells, strict=False) if key})
        for number, cells in lines
    ]


def cell_text(cell: Cell) -> str:
    """As a person would read it: whole numbers without a point, days as 2026-09-14, our own apostrophe taken off."""
    if cell is None:
        return ""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return cell.date().isoformat() if isinstance(cell, datetime) else plain_text(str(cell).strip()).strip()


def plain_text(text: str) -> str:
    """Without the apostrophe that `safe_cell` put in front."""
    return text[1:] if text.startswith("'") and text[1:].startswith(FORMULA_BEGINS) else text


def read_lines(content: bytes, name: str, *, other_encoding: str = "", most_bytes: int = MOST_BYTES) -> list[Line]:
    """The rows that hold something, the headings first. Raises TableRefused.

    `other_encoding` is what a CSV file that is not UTF-8 is taken for; without one it is refused.
    """
    if len(content) > most_bytes:
        raise TableRefused(_("The file is larger than %(n)s MB. Divide it.") % {"n": most_bytes // 1_000_000})
    is_workbook = content.startswith(b"PK\x03\x04") or name.lower().endswith(".xlsx")
    lines: list[Line] = []
    for line in _workbook_lines(content) if is_workbook else _csv_lines(content, other_encoding):
        if not any(cell is not None and str(cell).strip() for cell in line.cells):
            continue
        if len(lines) > MOST_ROWS:
            raise _too_long()
        lines.append(line)
    if not lines:
        raise TableRefused(_("The file is empty."))
    return lines


def _too_long() -> TableRefused:
    return TableRefused(_("The file has more than %(n)s rows. Divide it.") % {"n": MOST_ROWS})


def _too_wide() -> TableRefused:
    text = _("The file has more than %(n)s columns. Copy the columns that are needed into a new file.")
    return TableRefused(text % {"n": MOST_COLUMNS})


def _csv_lines(content: bytes, other_encoding: str) -> Iterator[Line]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        if not other_encoding:
            raise TableRefused(_("The file is not UTF-8 text. Save it as “CSV UTF-8”, or as XLSX.")) from error
        text = content.decode(other_encoding, errors="replace")
    if "\0" in text:
        raise TableRefused(_("This is neither a CSV nor an XLSX file. Save it as one of them."))
    delimiter = max(",;\t", key=text.partition("\n")[0].count)
    try:
        for number, cells in enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True), 1):
            if len(cells) > MOST_COLUMNS and any(cells[MOST_COLUMNS:]):
                raise _too_wide()
            yield Line(number, tuple(cells[:MOST_COLUMNS]))
    except csv.Error as error:
        raise TableRefused(_("The CSV file is broken: %(why)s.") % {"why": error}) from error


# Workbooks

WORKSHEET = "/worksheet"
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
STRICT_OFFICE = "http://purl.oclc.org/ooxml/officeDocument/relationships"
CELL_NAME = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")
# What spreadsheets count days from, since March 1900.
DAY_ZERO, DAY_ZERO_1904 = datetime(1899, 12, 30), datetime(1904, 1, 1)  # noqa: DTZ001 - a spreadsheet has no zone
# Built-in number formats that are days or times (ECMA-376 part 1, 18.8.30), and how one of the file's own is known.
BUILT_IN_DATES = frozenset({*range(14, 23), *range(27, 37), *range(45, 48), *range(50, 59)})
NOT_OF_A_FORMAT = re.compile(r'\[(?!h+\]|m+\]|s+\])[^\]]*\]|"[^"]*"|\\.|_.|\*.', re.IGNORECASE)
DATE_LETTERS = re.compile(r"[dmhysDMHYS]")


def _workbook_lines(content: bytes) -> Iterator[Line]:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            yield from _Workbook(packed).lines()
    except TableRefused:
        raise
    except Exception as error:  # a broken workbook may fail in as many ways as there are parts in it
        raise TableRefused(_("This workbook cannot be read. Save it again as XLSX, or as CSV.")) from error


class _Workbook:
    def __init__(self, packed: zipfile.ZipFile) -> None:
        self.packed = packed
        self.names = set(packed.namelist())
        self.bounds = _Bounds()

    def lines(self) -> Iterator[Line]:
        """Of the first sheet."""
        book = _Book()
        self.read("xl/workbook.xml", book)
        relations = _Relations()
        self.read("xl/_rels/workbook.xml.rels", relations)
        target = next(relations.targets[key] for key in book.sheets if relations.kinds[key].endswith(WORKSHEET))
        strings, styles = _Strings(), _Styles()
        for name, handler in (("xl/sharedStrings.xml", strings), ("xl/styles.xml", styles)):
            if name in self.names:
                self.read(name, handler)
        sheet = _Sheet(strings.texts, styles.dates, DAY_ZERO_1904 if book.since_1904 else DAY_ZERO)
        for _part in self.pieces(posixpath.normpath(posixpath.join("/xl", target)).lstrip("/"), sheet):
            yield from sheet.lines
            sheet.lines.clear()

    def read(self, name: str, handler: _Handler) -> None:
        for _part in self.pieces(name, handler):
            pass

    def pieces(self, name: str, handler: _Handler) -> Iterator[None]:
        """Feed a part of the file to its handler; the caller may take what was found after each piece."""
        parser = expat.ParserCreate(namespace_separator=" ")
        parser.buffer_text = True
        parser.StartElementHandler = handler.begins
        parser.EndElementHandler = handler.ends
        parser.CharacterDataHandler = handler.says
        parser.StartDoctypeDeclHandler = _no_doctype
        handler.bounds = self.bounds
        with self.packed.open(name) as part:
            while piece := part.read(AT_ONCE):
                self.bounds.unpacked(len(piece))
                parser.Parse(piece, False)
                yield
            parser.Parse(b"", True)
            yield


def _no_doctype(*_event: object) -> None:
    """A workbook has none; one that has means to unfold."""
    raise ValueError("a document type in a workbook")


class _Bounds:
    """What was unpacked and read so far, over all parts."""

    def __init__(self) -> None:
        self.bytes = self.elements = 0

    def unpacked(self, more: int) -> None:
        self.bytes += more
        if self.bytes > MOST_UNPACKED:
            raise _too_large()

    def element(self) -> None:
        self.elements += 1
        if self.elements > MOST_ELEMENTS:
            raise _too_large()


def _too_large() -> TableRefused:
    return TableRefused(_("The workbook is too large when unpacked. Keep only the sheet that is needed."))


class _Handler:
    """Elements of one part, by their names without the namespace; the text of those that `wanted` names."""

    wanted: frozenset[str] = frozenset()

    def __init__(self) -> None:
        self.bounds = _Bounds()
        self.text: list[str] | None = None

    def begins(self, name: str, attributes: dict[str, str]) -> None:
        self.bounds.element()
        name = name.rpartition(" ")[2]
        if name in self.wanted:
            self.text = []
        self.begin(name, attributes)

    def ends(self, name: str) -> None:
        name = name.rpartition(" ")[2]
        said = ""
        if name in self.wanted and self.text is not None:
            said, self.text = "".join(self.text), None
        self.end(name, said)

    def says(self, text: str) -> None:
        if self.text is not None:
            self.text.append(text)

    def begin(self, name: str, attributes: dict[str, str]) -> None: ...

    def end(self, name: str, said: str) -> None: ...


class _Book(_Handler):
    """The sheets in their order, and from when days count."""

    def __init__(self) -> None:
        super().__init__()
        self.sheets: list[str] = []
        self.since_1904 = False

    def begin(self, name: str, attributes: dict[str, str]) -> None:
        if name == "sheet":
            key = attributes.get(f"{OFFICE} id") or attributes[f"{STRICT_OFFICE} id"]
            self.sheets.append(key)
        elif name == "workbookPr":
            self.since_1904 = attributes.get("date1904") in ("1", "true")


class _Relations(_Handler):
    def __init__(self) -> None:
        super().__init__()
        self.targets: dict[str, str] = {}
        self.kinds: dict[str, str] = {}

    def begin(self, name: str, attributes: dict[str, str]) -> None:
        if name == "Relationship":
            self.targets[attributes["Id"]] = attributes["Target"]
            self.kinds[attributes["Id"]] = attributes["Type"]


class _Strings(_Handler):
    """The texts that cells share; what is only a reading aid (rPh) is no part of them."""

    wanted = frozenset({"t"})

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.parts: list[str] = []
        self.is_aid = False

    def begin(self, name: str, attributes: dict[str, str]) -> None:
        if name == "si":
            self.parts = []
        elif name == "rPh":
            self.is_aid = True

    def end(self, name: str, said: str) -> None:
        if name == "t" and not self.is_aid:
            self.parts.append(said)
        elif name == "rPh":
            self.is_aid = False
        elif name == "si":
            self.texts.append("".join(self.parts))


class _Styles(_Handler):
    """For each style of a cell, whether it shows days."""

    def __init__(self) -> None:
        super().__init__()
        self.dates: list[bool] = []
        self.own: dict[str, bool] = {}
        self.is_of_cells = False

    def begin(self, name: str, attributes: dict[str, str]) -> None:
        if name == "numFmt":
            code = NOT_OF_A_FORMAT.sub("", attributes.get("formatCode", ""))
            self.own[attributes["numFmtId"]] = bool(DATE_LETTERS.search(code))
        elif name == "cellXfs":
            self.is_of_cells = True
        elif name == "xf" and self.is_of_cells:
            number = attributes.get("numFmtId", "0")
            self.dates.append(self.own.get(number, int(number) in BUILT_IN_DATES))

    def end(self, name: str, said: str) -> None:
        if name == "cellXfs":
            self.is_of_cells = False


class _Sheet(_Handler):
    """Rows as they come. Where a row or a cell does not say where it is, it is the next."""

    wanted = frozenset({"v", "t"})

    def __init__(self, strings: list[str], dates: list[bool], day_zero: datetime) -> None:
        super().__init__()
        self.strings, self.dates, self.day_zero = strings, dates, day_zero
        self.lines: list[Line] = []
        self.row = self.column = 0
        self.cells: list[Cell] = []
        self.kind, self.style, self.value, self.is_aid = "n", 0, "", False

    def begin(self, name: str, attributes: dict[str, str]) -> None:
        if name == "dimension":
            self.refuse_far(*CELL_NAME.findall(attributes.get("ref", "")))
        elif name == "row":
            self.row = int(attributes["r"]) if "r" in attributes else self.row + 1
            self.refuse_row(self.row)
            self.column, self.cells = 0, []
        elif name == "c":
            found = CELL_NAME.fullmatch(attributes.get("r", ""))
            self.column = _column(found[1]) if found else self.column + 1
            self.refuse_column(self.column)
            self.kind, self.style, self.value = attributes.get("t", "n"), int(attributes.get("s", "0")), ""
        elif name == "rPh":
            self.is_aid = True

    def end(self, name: str, said: str) -> None:
        if name in ("v", "t") and not self.is_aid:
            self.value += said
        elif name == "rPh":
            self.is_aid = False
        elif name == "c":
            self.cells += [None] * (self.column - len(self.cells))
            self.cells[self.column - 1] = self.cell()
        elif name == "row":
            self.lines.append(Line(self.row, tuple(self.cells)))

    def refuse_far(self, *corners: tuple[str, str]) -> None:
        """What a sheet says of its size; a wrong word about it is refused like a right one."""
        for column, row in corners:
            self.refuse_column(_column(column))
            self.refuse_row(int(row))

    @staticmethod
    def refuse_row(number: int) -> None:
        if number > MOST_ROWS + 1:
            text = _("The sheet reaches down to row %(row)s, and at most %(n)s rows are read. Copy what is needed.")
            raise TableRefused(text % {"row": number, "n": MOST_ROWS})

    @staticmethod
    def refuse_column(number: int) -> None:
        if number > MOST_COLUMNS:
            raise _too_wide()

    def cell(self) -> Cell:
        try:
            return self.read_cell()
        except (ValueError, OverflowError, IndexError) as error:
            text = _("The cell in row %(row)s, column %(column)s is broken. Type it again, and save the file.")
            raise TableRefused(text % {"row": self.row, "column": self.column}) from error

    def read_cell(self) -> Cell:
        match self.kind:
            case "s":
                index = int(self.value)
                if index < 0:
                    raise IndexError
                return self.strings[index]
            case "inlineStr" | "str" | "e":
                return self.value
            case "b":
                return self.value.strip() in ("1", "true")
            case "d":
                return datetime.fromisoformat(self.value)
            case _:
                return self.number() if self.value.strip() else None

    def number(self) -> Cell:
        number = float(self.value)
        if not abs(number) < float("inf"):  # neither infinite nor no number at all
            raise ValueError(self.value)
        if self.dates and self.dates[self.style]:
            return self.moment(number)
        return int(number) if number.is_integer() and "." not in self.value else number

    def moment(self, days: float) -> Cell:
        """A day and a time of it; a time alone where the number is less than a day."""
        if days < 0:
            raise ValueError(days)
        found = self.day_zero + timedelta(seconds=round(days * 86_400))
        return found.time() if days < 1 else found


def _column(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number


# Written


def safe_cell(cell: object) -> object:
    """Nothing that a spreadsheet takes for a formula; numbers and days stay what they are, all else is text."""
    if cell is None or isinstance(cell, int | float | date):
        return cell
    text = str(cell)
    return f"'{text}" if text.startswith(FORMULA_BEGINS) else text


def _safe_rows(headings: Sequence[str], rows: Iterable[Sequence[object]]) -> Iterator[list[object]]:
    for row in chain([headings], rows):
        yield [safe_cell(cell) for cell in row]


def write_csv(headings: Sequence[str], rows: Iterable[Sequence[object]]) -> Iterator[str]:
    """Line by line, so that a long export need not be held in memory."""
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    for row in _safe_rows(headings, rows):
        writer.writerow(row)
        yield buffer.getvalue()
        buffer.seek(0)
        buffer.truncate()


# A workbook is written row by row: a season's loans are 700,000 cells, for which building cell objects takes longer
# than a web server waits. Only what our exports need: text, numbers and days.

SHEET_XML = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
RELATIONS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"
TYPES = "application/vnd.openxmlformats-officedocument.spreadsheetml"
HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
NOT_OF_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")


PARTS = {
    "_rels/.rels": f'<Relationships xmlns="{PACKAGE}/relationships">'
    f'<Relationship Id="rId1" Type="{RELATIONS}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
    # Style 0 is plain, style 1 a day as the reader's own spreadsheet writes days (built-in format 14).
    "xl/styles.xml": f'<styleSheet xmlns="{SHEET_XML}"><fonts count="1"><font/></fonts>'
    '<fills count="2"><fill><patternFill patternType="none"/></fill><fill><patternFill patternType="gray125"/></fill>'
    '</fills><borders count="1"><border/></borders>'
    '<cellStyleXfs count="1"><xf/></cellStyleXfs><cellXfs count="2"><xf/>'
    '<xf numFmtId="14" applyNumberFormat="1"/></cellXfs>'
    '<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles></styleSheet>',
}

Sheet = tuple[str, Sequence[str], Iterable[Sequence[object]]]


def write_xlsx(sheets: Iterable[Sheet]) -> bytes:
    """A workbook with a sheet for each (title, headings, rows).

    Text is kept as text, so that none of it is ever taken for a formula.
    """
    written = io.BytesIO()
    titles = []
    with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED, compresslevel=4) as packed:
        for title, headings, rows in sheets:
            titles.append(title)
            with packed.open(f"xl/worksheets/sheet{len(titles)}.xml", "w", force_zip64=True) as sheet:
                sheet.write(f'{HEAD}<worksheet xmlns="{SHEET_XML}"><sheetData>'.encode())
                for row in _safe_rows(headings, rows):
                    sheet.write(f"<row>{''.join(map(_cell_xml, row))}</row>".encode())
                sheet.write(b"</sheetData></worksheet>")
        for name, part in (PARTS | _parts_naming(titles)).items():
            packed.writestr(name, HEAD + part)
    return written.getvalue()


def _parts_naming(titles: Sequence[str]) -> dict[str, str]:
    """The parts of a workbook that name its sheets."""
    numbers = range(1, len(titles) + 1)
    styles = len(titles) + 1
    types = "".join(
        f'<Override PartName="/xl/worksheets/sheet{n}.xml" ContentType="{TYPES}.worksheet+xml"/>' for n in numbers
    )
    relations = "".join(
        f'<Relationship Id="rId{n}" Type="{RELATIONS}/worksheet" Target="worksheets/sheet{n}.xml"/>' for n in numbers
    )
    named = "".join(
        f'<sheet name={quoteattr(title)} sheetId="{n}" r:id="rId{n}"/>' for n, title in enumerate(titles, 1)
    )
    return {
        "[Content_Types].xml": f'<Types xmlns="{PACKAGE}/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{TYPES}.sheet.main+xml"/>{types}'
        f'<Override PartName="/xl/styles.xml" ContentType="{TYPES}.styles+xml"/></Types>',
        "xl/workbook.xml": f'<workbook xmlns="{SHEET_XML}" xmlns:r="{RELATIONS}"><sheets>{named}</sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{PACKAGE}/relationships">{relations}'
        f'<Relationship Id="rId{styles}" Type="{RELATIONS}/styles" Target="styles.xml"/></Relationships>',
    }


def _cell_xml(value: object) -> str:
    if value is None or value == "":
        return "<c/>"
    if isinstance(value, datetime):
        value = value.isoformat()  # a workbook holds no time zones
    if isinstance(value, str):
        text = escape(NOT_OF_XML.sub("", value), {"\r": "&#13;"})
        return f'<c t="inlineStr"><is><t xml:space="preserve">{text}</t></is></c>'
    if isinstance(value, bool):
        return f'<c t="b"><v>{int(value)}</v></c>'
    if isinstance(value, date):
        return f'<c s="1"><v>{(value - DAY_ZERO.date()).days}</v></c>'
    return f"<c><v>{value}</v></c>"
