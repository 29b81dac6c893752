"""Workbooks part by part, so that a test can break one."""

from __future__ import annotations

import io
import zipfile

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
RELATIONS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"


def packed(**parts: bytes | str) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for name, part in parts.items():
            file.writestr(f"xl/{name.replace('__', '/')}.xml{'.rels' if '_rels' in name else ''}", part)
    return out.getvalue()


def workbook(sheet: bytes | str, **more: bytes | str) -> bytes:
    book = f'<workbook xmlns="{MAIN}" xmlns:r="{RELATIONS}"><sheets><sheet name="a" r:id="r1"/></sheets></workbook>'
    kept = (
        f'<Relationships><Relationship Id="r1" Type="{RELATIONS}/worksheet" Target="worksheets/a.xml"/></Relationships>'
    )
    return packed(**{"workbook": book, "_rels__workbook": kept, "worksheets__a": sheet, **more})


def sheet(rows: str, before: str = "") -> str:
    return f'<worksheet xmlns="{MAIN}">{before}<sheetData>{rows}</sheetData></worksheet>'


BROKEN_CELL = workbook(
    sheet('<row r="1"><c t="inlineStr"><is><t>what</t></is></c></row><row r="2"><c><v>x</v></c></row>')
)
A_MILLION_ROWS = workbook(sheet("", '<dimension ref="A1:B1048576"/>'))
ALL_COLUMNS = workbook(sheet("", '<dimension ref="A1:XFD9"/>'))
