"""The register in and out of a spreadsheet: dry run, every error with its place, all or nothing, twice the same."""

from __future__ import annotations

import csv
import io
import re
from datetime import date

import pytest
from django.core.exceptions import PermissionDenied
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from openpyxl import Workbook, load_workbook

from club.core.tables import TableRefused, plain_text, read_table, safe_cell, write_csv, write_xlsx
from inventory.equipment import services
from inventory.equipment.choices import Kind
from inventory.equipment.description import COLUMNS, fields_of
from inventory.equipment.models import ConditionNote, Thing
from inventory.equipment.register import STATE_COLUMNS, thing_rows
from inventory.equipment.services import things
from tests.factories.equipment import make_keeper, make_loan, make_test, make_thing
from tests.factories.members import make_kitchen, make_person
from tests.factories.workbooks import A_MILLION_ROWS, ALL_COLUMNS, BROKEN_CELL

pytestmark = pytest.mark.django_db

GOOD = """code,kind,name,deposit,jars_pint,jars_quart,days_for_cleaning,place
BWC-01,boiling-water-canner,Blue canner,20.00,9,7,1,shelf A
MIL-01,Food mill,Mill,,,,,
"""


def take_in(text: str | bytes, *, by=None, dry_run=False, name="register.csv"):
    data = text.encode() if isinstance(text, str) else text
    return services.register_import(
        by=by or make_keeper(), rows=read_table(data, name, other_encoding="cp1252"), file=name, dry_run=dry_run
    )


def test_a_dry_run_says_what_would_be_and_writes_nothing():
    report = take_in(GOOD, dry_run=True)
    assert (report.added, report.problems) == (["BWC-01", "MIL-01"], [])
    assert not Thing.objects.exists()


def test_the_register_is_taken_in_and_a_second_time_changes_nothing():
    take_in(GOOD)
    canner = Thing.objects.get(code="BWC-01")
    assert (canner.deposit_cents, canner.capacity, canner.turnaround_own) == (2000, {"pint": 9, "quart": 7}, 1)
    assert Thing.objects.get(code="MIL-01").kind == "food-mill"
    again = take_in(GOOD)
    assert (again.added, again.changed, again.unchanged) == ([], [], ["BWC-01", "MIL-01"])
    assert (Thing.objects.count(), ConditionNote.objects.count()) == (2, 2)


def test_a_changed_row_changes_its_thing_and_no_other():
    take_in(GOOD)
    report = take_in(GOOD.replace("shelf A", "shelf B"))
    assert (report.changed, report.unchanged) == (["BWC-01"], ["MIL-01"])
    assert Thing.objects.get(code="BWC-01").place == "shelf B"


@pytest.fixture
def canner():
    return make_thing(
        code="BWC-01",
        name="Blue canner",
        home=make_kitchen(name="Bench hall", is_hall=True),
        place="shelf A",
        deposit_cents=2000,
        deposit_note="cash",
        turnaround_own=0,
        skill_own="none",
        capacity={"pint": 9, "quart": 7},
        care="Dry it.",
    )


def described(thing: Thing) -> dict[str, object]:
    return vars(fields_of(Thing.objects.select_related("home").get(pk=thing.pk)))


def test_columns_that_a_file_does_not_have_are_left_alone(canner):
    before = described(canner)
    report = take_in("code,kind,name\nBWC-01,boiling-water-canner,Blue canner\n")
    assert (report.unchanged, report.changed, report.problems) == (["BWC-01"], [], [])
    assert described(canner) == before
    report = take_in("code,kind,name\nBWC-01,boiling-water-canner,Green canner\n")
    assert (report.changed, report.problems) == (["BWC-01"], [])
    assert described(canner) == before | {"name": "Green canner"}
    assert report.left_alone == [column for column in COLUMNS if column not in ("code", "kind", "name")]


@pytest.mark.parametrize(
    ("column", "field", "empty"),
    [
        ("home", "home", None),
        ("place", "place", ""),
        ("deposit", "deposit_cents", 0),
        ("deposit_note", "deposit_note", ""),
        ("days_for_cleaning", "turnaround_own", None),
        ("skill", "skill_own", ""),
        ("jars_pint", "capacity", {"quart": 7}),
        ("care", "care", ""),
    ],
)
def test_a_cell_that_is_there_and_empty_empties_its_own_field_and_says_so(canner, column, field, empty):
    before = described(canner)
    [row] = take_in(f"code,kind,name,{column}\nBWC-01,boiling-water-canner,Blue canner,\n").rows
    assert described(canner) == before | {field: empty}
    assert [(cell.column, cell.becomes) for cell in row.cells] == [(column, "")]
    assert row.cells[0].was != ""


def test_a_row_that_ends_early_leaves_alone_what_it_does_not_reach(canner):
    before = described(canner)
    take_in("code,kind,name,place,care\nBWC-01,boiling-water-canner,Blue canner,shelf B\n")
    assert described(canner) == before | {"place": "shelf B"}


def test_what_is_changed_besides_in_the_meantime_stays(canner, monkeypatch):
    """The state is no column of the file: a thing sent to repair between the reading and the writing stays there."""
    write = things._change

    def broken_first(thing, columns):
        Thing.objects.filter(pk=thing.pk).update(state="in-repair", care="Ask Tobias.")
        write(thing, columns)

    monkeypatch.setattr(things, "_change", broken_first)
    take_in("code,kind,name,place\nBWC-01,boiling-water-canner,Blue canner,shelf B\n")
    canner.refresh_from_db()
    assert (canner.place, canner.state, canner.care) == ("shelf B", "in-repair", "Ask Tobias.")


def test_the_look_says_of_each_row_what_changes_from_what_to_what(canner, client):
    client.force_login(make_keeper())
    text = (
        "code,kind,name,place,deposit,days_for_cleaning,jars_pint,colour\n"
        "BWC-01,boiling-water-canner,Blue canner,shelf B,,3,9,blue\n"
        "MIL-01,food-mill,Mill,,12.50,0,,red\n"
    )
    page = client.post("/equipment/import/", {"file": SimpleUploadedFile("r.csv", text.encode(), "text/csv")})
    told = {
        row.code: (row.number, row.is_new, [tuple(cell) for cell in row.cells]) for row in page.context["report"].rows
    }
    assert told == {
        "BWC-01": (
            2,
            False,
            [("place", "shelf A", "shelf B"), ("deposit", "20.00", ""), ("days_for_cleaning", "0", "3")],
        ),
        "MIL-01": (
            3,
            True,
            [
                ("code", "", "MIL-01"),
                ("kind", "", "food-mill"),
                ("name", "", "Mill"),
                ("deposit", "", "12.50"),
                ("days_for_cleaning", "", "0"),
            ],
        ),
    }
    words = " ".join(re.sub(r"<[^>]+>", " ", page.text).split())
    for sentence in (
        "place: from shelf A to shelf B",
        "deposit: emptied; it was 20.00",
        "days_for_cleaning: from 0 to 3",
        "days_for_cleaning: 0",
        "Not in the file, so left as they are: home, deposit_note, skill,",
        "In the file, but not taken in: colour",
        "A column that the file does not have is left alone.",
    ):
        assert sentence in words
    assert Thing.objects.get().place == "shelf A"


def test_the_look_shows_every_row_and_no_more_queries_than_for_one(client, django_assert_max_num_queries):
    client.force_login(make_keeper())
    rows = "".join(f"SCL-{n},scale,Scale {n}\n" for n in range(300))
    upload = SimpleUploadedFile("r.csv", ("code,kind,name\n" + rows).encode(), "text/csv")
    with django_assert_max_num_queries(12):
        page = client.post("/equipment/import/", {"file": upload})
    assert page.text.count("name: Scale ") == 300


def test_one_bad_cell_and_nothing_is_written_and_each_is_named_with_its_place():
    bad = GOOD + "X/1,teapot,Kettle,free,many,,99,\nbwc 01,scale,Scale,,,,,\n,scale,,,,,,\n"
    report = take_in(bad)
    assert not Thing.objects.exists()
    places = {(problem.row, problem.column) for problem in report.problems}
    assert {(4, "deposit"), (4, "jars_pint"), (5, "code"), (6, "code"), (6, "name")} <= places
    assert str(report.problems[0]).startswith("register.csv, row 4, column ")
    only = take_in(GOOD + "X/1,teapot,Kettle,,,,99,\n")
    assert {(one.row, one.column) for one in only.problems} == {(4, "kind"), (4, "code"), (4, "days_for_cleaning")}


def test_every_bad_cell_of_a_row_is_named_at_once_and_only_once():
    report = take_in("code,kind,name,deposit\nZZ-2,no-such-kind,Bad one,abc\n")
    assert sorted((problem.row, problem.column) for problem in report.problems) == [(2, "deposit"), (2, "kind")]
    assert not Thing.objects.exists()


def test_a_missing_column_is_named():
    report = take_in("code,name\nA-1,Thing\n")
    assert [(one.row, one.column) for one in report.problems] == [(1, "kind")]


def test_only_keepers_take_a_register_in():
    with pytest.raises(PermissionDenied):
        take_in(GOOD, by=make_person())


def test_an_xlsx_register_is_read_like_the_csv_one():
    book = Workbook()
    for row in csv.reader(io.StringIO(GOOD)):
        book.active.append([int(cell) if cell.isdecimal() else cell for cell in row])
    written = io.BytesIO()
    book.save(written)
    take_in(written.getvalue(), name="register.xlsx")
    assert take_in(GOOD).unchanged == ["BWC-01", "MIL-01"]


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_what_is_written_out_comes_in_again_as_it_was(form):
    make_kitchen(name="Hall", is_hall=True)
    hall = make_kitchen(name="Bench hall", is_hall=True)
    make_thing(name="=1+1", place="-shelf", care='Dry it.\n"Twice", they say; @home', deposit_cents=2050, home=hall)
    make_thing(name="Plain, with a comma", turnaround_own=0)
    headings = (*COLUMNS, *STATE_COLUMNS)
    if form == "csv":
        data = "".join(write_csv(headings, thing_rows())).encode()
    else:
        data = write_xlsx([("things", headings, thing_rows())])
    report = take_in(data, name=f"things.{form}")
    assert (len(report.unchanged), report.changed, report.added, report.problems) == (2, [], [], [])


@pytest.mark.parametrize("text", ["=SUM(A1)", "+1", "-1", "@cmd", "\tx", "\rx"])
def test_a_cell_never_begins_a_formula_and_comes_back_plain(text):
    assert safe_cell(text) == f"'{text}"
    assert plain_text(f"'{text}") == text
    sheet = load_workbook(io.BytesIO(write_xlsx([("t", ["a"], [[text]])]))).active
    assert sheet["A2"].data_type == "s"
    assert str(sheet["A2"].value).startswith("'")


def test_numbers_stay_numbers_and_an_apostrophe_of_one_s_own_stays():
    assert safe_cell(-5) == -5
    assert plain_text("'tis") == "'tis"
    assert load_workbook(io.BytesIO(write_xlsx([("t", ["a"], [[7]])]))).active["A2"].data_type == "n"


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "empty"),
        (b"code,code\n", "twice"),
        (b"PK\x03\x04 broken", "cannot be read"),
        (b"code\n\0\0", "neither"),
        (b'code,name\n"A-1,never closed', "broken"),
        (b"a\n" + b"1\n" * 5001, "Divide"),
        (b"x" * (5 * 1024 * 1024 + 1), "5 MB"),
    ],
)
def test_what_is_no_table_is_refused_with_the_reason(data, why):
    with pytest.raises(TableRefused, match=why):
        read_table(data, "file", other_encoding="cp1252")


def test_a_semicolon_table_and_windows_letters_are_read():
    [row] = read_table("Code;Kind;Name\r\nA-1;scale;Küchenwaage\r\n".encode("cp1252"), "x.csv", other_encoding="cp1252")
    assert (row.number, row.cells) == (2, {"code": "A-1", "kind": "scale", "name": "Küchenwaage"})


def test_taking_in_a_thousand_rows_asks_the_database_little(django_assert_max_num_queries):
    keeper = make_keeper()
    rows = "".join(f"SCL-{n},scale,Scale {n}\n" for n in range(1000))
    with django_assert_max_num_queries(12):
        report = take_in("code,kind,name\n" + rows, by=keeper, dry_run=True)
    assert len(report.added) == 1000


def test_days_numbers_and_every_letter_are_read_by_a_spreadsheet_as_they_were():
    told = [date(2026, 9, 14), 7, "a & <b> \n\u00e9\u0142\x07", None]
    book = load_workbook(io.BytesIO(write_xlsx([("Tests & more", ["day", "n", "text", "none"], [told])])))
    [_heads, row] = list(book.active.iter_rows(values_only=True))
    assert (row[0].date(), row[1], row[2], row[3]) == (told[0], 7, "a & <b> \n\u00e9\u0142", None)
    assert book.sheetnames == ["Tests & more"]


@pytest.mark.parametrize("what", ["loans", "holds", "tests", "things"])
@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_everything_is_written_out_with_a_heading_for_each_cell(what, form, client):
    thing = make_thing(Kind.DIAL_GAUGE, code="DGC-1")
    make_test(thing)
    make_loan(thing, make_person(name="@Wanda", email="wanda@example.test"), deposit_cents=2050)
    client.force_login(make_keeper())
    answer = client.get(f"/equipment/export/{what}.{form}")
    data = b"".join(answer.streaming_content) if answer.streaming else answer.content
    if form == "csv":
        heads, row = list(csv.reader(io.StringIO(data.decode())))
    else:
        heads, row = list(load_workbook(io.BytesIO(data)).active.iter_rows(values_only=True))
    told = dict(zip(heads, row, strict=True))
    assert told["code"] == "DGC-1"
    if what == "loans":
        assert (told["person"], told["email"], told["deposit"]) == ("'@Wanda", "wanda@example.test", "20.50")
        assert told["handed_over"] == "2026-09-14 12:00"


def test_what_is_not_there_to_write_out_is_not_found(client):
    client.force_login(make_keeper())
    assert client.get("/equipment/export/people.csv").status_code == 404
    assert client.get("/equipment/export/things.ods").status_code == 404
    client.force_login(make_person())
    assert client.get("/equipment/export/things.csv").status_code == 403


def test_a_file_is_looked_over_first_and_written_when_one_says_so(client):
    client.force_login(make_keeper())
    upload = SimpleUploadedFile("register.csv", GOOD.encode(), "text/csv")
    page = client.post("/equipment/import/", {"file": upload})
    assert not Thing.objects.exists()
    assert client.post("/equipment/import/", {"checked": page.context["checked"]}).status_code == 302
    assert Thing.objects.count() == 2
    bad = SimpleUploadedFile("register.csv", GOOD.replace("9,7", "many,7").encode(), "text/csv")
    refused = client.post("/equipment/import/", {"file": bad})
    assert "register.csv, row 2, column jars_pint" in refused.content.decode()
    assert "checked" not in refused.context


def test_a_look_that_somebody_wrote_themselves_is_not_taken(client):
    client.force_login(make_keeper())
    assert client.post("/equipment/import/", {"checked": "made:up:here"}, follow=True).status_code == 200
    assert not Thing.objects.exists()


@pytest.mark.parametrize(
    ("content", "said"),
    [(BROKEN_CELL, "row 2, column 1 is broken"), (A_MILLION_ROWS, "row 1048576"), (ALL_COLUMNS, "100 columns")],
)
def test_a_workbook_that_claims_too_much_or_is_broken_is_refused_beside_its_field(client, content, said):
    client.force_login(make_keeper())
    answer = client.post(reverse("equipment:import"), {"file": SimpleUploadedFile("a.xlsx", content)})
    assert said in answer.context["form"].errors["file"][0]
