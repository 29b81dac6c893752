"""An XLSX file of one sheet, written row by row with the standard library.

A season's loans are 700,000 cells: this writes them in a few seconds, where building cell objects takes longer than
a web server waits. Only what our exports need: text, whole numbers and days. ECMA-376, parts 1 and 2.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterable, Sequence
from datetime import date
from xml.sax.saxutils import escape, quoteattr

NAMESPACE = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
RELATIONS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"
TYPES = "application/vnd.openxmlformats-officedocument.spreadsheetml"
HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
DAY_ZERO = date(1899, 12, 30)  # what spreadsheets count days from, since March 1900
NOT_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")

PARTS = {
    "[Content_Types].xml": f'<Types xmlns="{PACKAGE}/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    f'<Override PartName="/xl/workbook.xml" ContentType="{TYPES}.sheet.main+xml"/>'
    f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{TYPES}.worksheet+xml"/>'
    f'<Override PartName="/xl/styles.xml" ContentType="{TYPES}.styles+xml"/></Types>',
    "_rels/.rels": f'<Relationships xmlns="{PACKAGE}/relationships">'
    f'<Relationship Id="rId1" Type="{RELATIONS}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
    "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{PACKAGE}/relationships">'
    f'<Relationship Id="rId1" Type="{RELATIONS}/worksheet" Target="worksheets/sheet1.xml"/>'
    f'<Relationship Id="rId2" Type="{RELATIONS}/styles" Target="styles.xml"/></Relationships>',
    # Style 0 is plain, style 1 a day as the reader's own spreadsheet writes days (built-in format 14).
    "xl/styles.xml": f'<styleSheet xmlns="{NAMESPACE}"><fonts count="1"><font/></fonts>'
    '<fills count="2"><fill><patternFill patternType="none"/></fill><fill><patternFill patternType="gray125"/></fill>'
    '</fills><borders count="1"><border/></borders>'
    '<cellStyleXfs count="1"><xf/></cellStyleXfs><cellXfs count="2"><xf/>'
    '<xf numFmtId="14" applyNumberFormat="1"/></cellXfs>'
    '<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles></styleSheet>',
}


def xlsx_bytes(title: str, rows: Iterable[Sequence[str | int | date | None]]) -> bytes:
    """The file. Text is kept as text, so that none of it is ever taken for a formula."""
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED, compresslevel=4) as packed:
        for name, part in PARTS.items():
            packed.writestr(name, HEAD + part)
        packed.writestr("xl/workbook.xml", HEAD + _workbook(title))
        with packed.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as sheet:
            sheet.write(f'{HEAD}<worksheet xmlns="{NAMESPACE}"><sheetData>'.encode())
            for row in rows:
                sheet.write(f"<row>{''.join(map(_cell, row))}</row>".encode())
            sheet.write(b"</sheetData></worksheet>")
    return written.getvalue()


def _workbook(title: str) -> str:
    sheet = f'<sheet name={quoteattr(title)} sheetId="1" r:id="rId1"/>'
    return f'<workbook xmlns="{NAMESPACE}" xmlns:r="{RELATIONS}"><sheets>{sheet}</sheets></workbook>'


def _cell(value: str | int | date | None) -> str:
    if value is None or value == "":
        return "<c/>"
    if isinstance(value, str):
        text = escape(NOT_XML.sub("", value), {"\r": "&#13;"})
        return f'<c t="inlineStr"><is><t xml:space="preserve">{text}</t></is></c>'
    if isinstance(value, date):
        return f'<c s="1"><v>{(value - DAY_ZERO).days}</v></c>'
    return f"<c><v>{value}</v></c>"
