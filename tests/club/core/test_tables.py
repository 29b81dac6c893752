"""Tables that people bring: read as they are, or refused in a sentence before they cost anything."""

from __future__ import annotations

import io
from datetime import UTC, date, datetime, time

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook

from club.core import tables
from club.core.tables import MOST_COLUMNS, MOST_ROWS, Line, TableRefused, read_lines, read_table, write_xlsx
from tests.factories.workbooks import MAIN, packed, sheet, workbook


def said(content: bytes, name: str = "x.xlsx", **how) -> str:
    with pytest.raises(TableRefused) as refused:
        read_lines(content, name, **how)
    message = str(refused.value)
    assert message[0].isupper()
    assert message.endswith(".")
    return message


def of_openpyxl(*rows) -> bytes:
    book, out = Workbook(), io.BytesIO()
    for row in rows:
        book.active.append(row)
    book.save(out)
    return out.getvalue()


def test_a_workbook_is_read_as_it_was_typed():
    day = datetime(2026, 9, 14)  # noqa: DTZ001 - as a spreadsheet has it
    row = ("lids", None, 3, 2.5, True, day, datetime(2026, 9, 14, 16, 30), time(6, 45), "  a\nb ")  # noqa: DTZ001
    content = of_openpyxl(("what", "n"), (), row)
    assert read_lines(content, "x.xlsx") == [Line(1, ("what", "n")), Line(3, row)]


def test_a_workbook_of_ours_without_places_and_one_with_shared_strings_are_read():
    ours = write_xlsx([("a", ["code", "n"], [[None, None], ["A-1", 4], ["B", date(2026, 9, 14)]])])
    lines = read_lines(ours, "x.xlsx")
    assert [line.cells for line in lines] == [("code", "n"), ("A-1", 4), ("B", datetime(2026, 9, 14))]  # noqa: DTZ001
    strings = (
        f'<sst xmlns="{MAIN}"><si><t>code</t></si><si><r><t>A</t></r><r><t>-1</t></r><rPh><t>no</t></rPh></si></sst>'
    )
    rows = '<row r="1"><c r="B1" t="s"><v>0</v></c></row><row r="4"><c r="B4" t="s"><v>1</v></c></row>'
    assert read_lines(workbook(sheet(rows), sharedStrings=strings), "x") == [
        Line(1, (None, "code")),
        Line(4, (None, "A-1")),
    ]


texts = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cc", "Cs"), exclude_characters="=\ufffe\uffff")
)  # = begins a formula
cells = (
    st.none()
    | st.integers(-(10**9), 10**9)
    | st.booleans()
    | texts
    | st.datetimes(
        datetime(1901, 1, 1),  # noqa: DTZ001
        datetime(2100, 1, 1),  # noqa: DTZ001
    ).map(lambda moment: moment.replace(microsecond=0))
)


def nothing_is_none(cell):
    return None if cell == "" else cell


def holds(cell) -> bool:
    return cell is not None and str(cell).strip() != ""


@given(st.lists(st.lists(cells, max_size=6), max_size=6))
def test_what_another_program_wrote_is_read_cell_for_cell(rows):
    held = [(number, row) for number, row in enumerate(rows, 1) if any(map(holds, row))]
    if not held:
        assert "empty" in said(of_openpyxl(*rows))
        return
    found = read_lines(of_openpyxl(*rows), "x.xlsx")
    assert [line.number for line in found] == [number for number, _row in held]
    for line, (_number, row) in zip(found, held, strict=True):
        read = (*line.cells, *[None] * (len(row) - len(line.cells)))
        assert [nothing_is_none(cell) for cell in read] == [nothing_is_none(cell) for cell in row]


@pytest.mark.parametrize(
    ("rows", "before", "why"),
    [
        ("", '<dimension ref="A1:XFD1"/>', "more than 100 columns"),
        ("", '<dimension ref="A1:C1048576"/>', "down to row 1048576"),
        ('<row r="1"><c r="XFD1"><v>1</v></c></row>', "", "more than 100 columns"),
        (f"<row>{'<c><v>1</v></c>' * (MOST_COLUMNS + 1)}</row>", "", "more than 100 columns"),
        ('<row r="1048576"><c><v>1</v></c></row>', "", "down to row 1048576"),
        ("<row><c><v>1</v></c></row>" * (MOST_ROWS + 2), "", f"down to row {MOST_ROWS + 2}"),
        ('<row r="9"><c r="C9"><v>12x</v></c></row>', "", "row 9, column 3 is broken"),
        ('<row r="1"><c><v>1e999</v></c></row>', "", "row 1, column 1 is broken"),
        ('<row r="1"><c><v>nan</v></c></row>', "", "row 1, column 1 is broken"),
        ('<row r="1"><c t="s"><v>5</v></c></row>', "", "row 1, column 1 is broken"),
        ('<row r="1"><c t="s"><v>-1</v></c></row>', "", "row 1, column 1 is broken"),
        ('<row r="1"><c t="d"><v>never</v></c></row>', "", "row 1, column 1 is broken"),
        ('<row r="1"><c s="1"><v>99999999999</v></c></row>', "", "row 1, column 1 is broken"),
        ('<row r="1"><c s="7"><v>1</v></c></row>', "", "row 1, column 1 is broken"),
        ('<row r="one"><c><v>1</v></c></row>', "", "cannot be read"),
        ('<row r="1"><c><v>1</v></row>', "", "cannot be read"),
        ('<row r="1"><c><v>&nothing;</v></c></row>', "", "cannot be read"),
        ("<x/>" * (tables.MOST_ELEMENTS + 1), "", "too large when unpacked"),
        ("", "", "empty"),
    ],
)
def test_a_sheet_that_is_huge_or_broken_is_refused_in_a_sentence(rows, before, why):
    days = f'<styleSheet xmlns="{MAIN}"><cellXfs><xf numFmtId="0"/><xf numFmtId="14"/></cellXfs></styleSheet>'
    assert why in said(workbook(sheet(rows, before), styles=days))


def laughs() -> str:
    """Entities of entities: a few hundred bytes that mean a thousand million letters."""
    steps = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10))
    row = '<row><c t="inlineStr"><is><t>&l9;</t></is></c></row>'
    return f'<!DOCTYPE x [<!ENTITY l0 "ha">{steps}]>{sheet(row)}'


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"PK\x03\x04 and nothing more", "cannot be read"),
        (b"", "cannot be read"),
        (packed(nothing="<x/>"), "cannot be read"),
        (workbook(b""), "cannot be read"),
        (workbook(b"\xff\xfe\x00"), "cannot be read"),
        (workbook(sheet("<row><c><v>1</v></c></row>"), sharedStrings="<sst"), "cannot be read"),
        (workbook(sheet("<row><c><v>1</v></c></row>"))[:-40], "cannot be read"),
        (workbook(laughs()), "cannot be read"),
        (workbook(sheet(" " * (tables.MOST_UNPACKED + 1))), "too large when unpacked"),
        (workbook(sheet(""), sharedStrings=b"<sst>  "), "cannot be read"),
        (workbook(sheet(""), sharedStrings=f"<sst>{' ' * tables.MOST_UNPACKED}</sst>"), "too large when unpacked"),
        (b"x" * (tables.MOST_BYTES + 1), "larger than 5 MB"),
    ],
)
def test_a_workbook_that_is_none_or_a_bomb_is_refused_in_a_sentence(content, why):
    assert why in said(content)


def test_a_bomb_is_unpacked_only_as_far_as_the_bound(monkeypatch):
    unpacked = []
    monkeypatch.setattr(tables._Bounds, "unpacked", keeping := tables._Bounds.unpacked)
    monkeypatch.setattr(tables._Bounds, "unpacked", lambda self, more: (unpacked.append(more), keeping(self, more))[1])
    said(workbook(sheet(" " * (2 * tables.MOST_UNPACKED))))
    assert sum(unpacked) <= tables.MOST_UNPACKED + tables.AT_ONCE


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "empty"),
        (b"\n , \n", "empty"),
        (b"a,b\n\0", "neither a CSV"),
        (b'a,b\n"open', "broken"),
        ("Küche,1\n".encode("cp1252"), "not UTF-8"),
        (b"a\n" + b"1\n" * (MOST_ROWS + 1), "more than 5000 rows"),
        (b"a" + b",b" * MOST_COLUMNS + b"\n", "more than 100 columns"),
        (b"a\n" + b"x" * 200_000, "broken"),
    ],
)
def test_a_csv_that_is_huge_or_broken_is_refused_in_a_sentence(content, why):
    assert why in said(content, "x.csv")


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_a_csv_is_read_with_its_separator_and_empty_rows_are_left_out(mark):
    text = f"\ufeffcode{mark}name\r\n\r\nA-1{mark}Küche\r\n"
    assert read_lines(text.encode(), "x.csv") == [Line(1, ("code", "name")), Line(3, ("A-1", "Küche"))]
    assert read_lines("ü\n".encode("cp1252"), "x.csv", other_encoding="cp1252") == [Line(1, ("ü",))]


def test_columns_without_a_word_beyond_the_bound_do_no_harm():
    assert read_lines(b"a,b" + b"," * 500 + b"\n", "x.csv")[0].cells[:2] == ("a", "b")


def test_a_workbook_of_several_sheets_is_what_another_program_reads():
    moment = datetime(2026, 9, 14, 18, 30, tzinfo=UTC)
    rows = [[True, 2.5, moment, -5, None], [False, "=1+1", "a & <b>", 10**9, ""]]
    book = load_workbook(io.BytesIO(write_xlsx([("One & two", ["a"], rows), ("Three", ["=b"], [])])))
    assert book.sheetnames == ["One & two", "Three"]
    first, second = ([list(row) for row in sheet.iter_rows(values_only=True)] for sheet in book)
    assert first[1] == [True, 2.5, "2026-09-14T18:30:00+00:00", -5, None]
    assert first[2] == [False, "'=1+1", "a & <b>", 10**9, None]
    assert second == [["'=b"]]


def test_a_heading_counts_in_small_letters_and_must_not_come_twice():
    assert [row.cells for row in read_table(b"Place  No,,b\n1,2,3\n", "x.csv")] == [{"place_no": "1", "b": "3"}]
    assert read_table(b"Place No\n1\n", "x.csv", space=" ")[0].cells == {"place no": "1"}
    for text, why in ((b"count,Count\n1,2\n", "twice"), (b"what\njars\n", "Missing: count, size")):
        with pytest.raises(TableRefused, match=why):
            read_table(text, "x.csv", needed=("what", "count", "size"))
