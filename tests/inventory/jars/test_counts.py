"""Counts from a file, all or nothing, safe to send twice; and everything out without a live formula."""

from __future__ import annotations

import csv
import io
import zipfile
from datetime import date, timedelta
from uuid import uuid4

import openpyxl
import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from club.core import tables
from club.core.clock import club_day
from club.members.models import User
from inventory.jars import services
from inventory.jars.exports import TABLES
from inventory.jars.models import Balance, CountTaken, LidStock, Movement, SupplyLot
from inventory.jars.services.counting import MOST_BYTES
from tests.factories.batches import make_batch_out
from tests.factories.jars import make_jars, make_lid_lot, make_loan, make_stock, make_supply
from tests.factories.members import make_kitchen, make_person
from tests.factories.orders import make_order, wish
from tests.factories.workbooks import A_MILLION_ROWS, ALL_COLUMNS, BROKEN_CELL

pytestmark = pytest.mark.django_db

HEAD = "what,place,size,state,lot,count\n"


def take(by, text, name="counts.csv"):
    return services.counts_take(by=by, name=name, content=(HEAD + text).encode())


def there(place, state="empty", size="pint"):
    return sum(Balance.objects.filter(place=place, state=state, size=size).values_list("count", flat=True))


def workbook(rows):
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_a_count_books_the_difference_and_no_more(keeper):
    kitchen = services.kitchen_place(make_kitchen(name="Plum Lane"))
    make_jars(kitchen, 10, by=keeper)
    taken = take(keeper, "jars,plum lane,pint,empty,,7\njars,club store,quart,,,30\njars,Plum Lane,quart,chipped,,0\n")
    assert (taken.rows, taken.changes) == (3, 2)
    assert (there(kitchen), there(services.store_place(), size="quart")) == (7, 30)
    assert list(Movement.objects.order_by("pk").values_list("reason", "count"))[1:] == [("missing", 3), ("found", 30)]
    assert services.ledger_audit().is_sound


def test_the_same_file_twice_writes_once_whoever_sends_it_and_whatever_moved_since(keeper):
    first = take(keeper, "jars,club store,pint,empty,,5\n")
    make_jars(services.store_place(), 4, by=keeper)
    again = take(keeper, "jars,club store,pint,empty,,5\n", name="copy.csv")
    assert first == again
    assert there(services.store_place()) == 9
    assert CountTaken.objects.count() == 1


def test_one_wrong_row_keeps_every_row_out_and_each_is_named_with_its_column(keeper):
    wrong = [
        ("jars,club store,pint,empty,,5", None),
        ("bottles,club store,pint,empty,,5", "what"),
        ("jars,Nowhere,pint,empty,,5", "place"),
        ("jars,club store,bucket,empty,,5", "size"),
        ("jars,club store,pint,dirty,,5", "state"),
        ("jars,club store,pint,full,,5", "lot"),
        ("jars,club store,pint,full,26001-AAA,5", "lot"),
        ("jars,club store,quart,empty,,-1", "count"),
        ("jars,club store,quart,empty,,1.5", "count"),
        ("jars,club store,quart,empty,,10000", "count"),
        ("jars,club store,quart,empty,,", "count"),
        ("lids,,,,NO-LOT,5", "lot"),
        ("jars,store,pint,empty,,6", "what"),  # the same place and size as the first row
    ]
    text = "\n".join(line for line, _column in wrong)
    plan = services.counts_try(by=keeper, name="shelf.csv", content=(HEAD + text).encode())
    found = [(one.file, one.row, one.column) for one in plan.problems]
    assert found == [("shelf.csv", n, column) for n, (_line, column) in enumerate(wrong, start=2) if column]
    with pytest.raises(ValidationError, match="12 problems"):
        take(keeper, text)
    assert not Movement.objects.exists()
    assert not CountTaken.objects.exists()


def test_a_name_that_two_bear_is_asked_about(keeper):
    make_kitchen(name="Plum Lane")
    make_kitchen(name="Plum Lane")
    person = make_person(name="Ada Plum", email="ada@example.test")
    make_person(name="Ada Plum")
    plan = services.counts_try(
        by=keeper, name="x.csv", content=f"{HEAD}jars,plum lane,pint,,,1\njars,Ada Plum,pint,,,1\n".encode()
    )
    assert [one.column for one in plan.problems] == ["place", "place"]
    take(keeper, "jars,ada@example.test,pint,,,1\n")
    assert there(services.person_place(person)) == 1


def test_a_trial_writes_nothing_and_shows_what_would_change(keeper):
    make_jars(services.store_place(), 10, by=keeper)
    plan = services.counts_try(by=keeper, name="x.csv", content=f"{HEAD}jars,store,pint,,,7\n".encode())
    assert [(one.row, one.was, one.count) for one in plan.changes] == [(2, 10, 7)]
    assert Movement.objects.count() == 1
    assert not CountTaken.objects.exists()


def test_lids_and_supplies_are_counted_too_and_a_workbook_reads_like_a_csv(keeper):
    day = date(2030, 3, 31)
    lot = make_lid_lot("AB-1", "Tin")
    services.lids_move(by=keeper, reason="bought", lot=lot, count=12, token=uuid4())
    pectin, vinegar = make_supply("Pectin", by=keeper), make_supply("Cider vinegar", by=keeper, kind="vinegar")
    make_stock(pectin, 9, by=keeper, use_by=day)
    content = workbook(
        [
            ["What", "Lot", "Maker", "Item", "Use by", "Strength", "Count"],
            ["lids", "ab1", "TIN", None, None, None, 10],
            ["supply", None, None, "pectin", day, None, 4.0],
            ["supply", None, None, "Cider vinegar", None, 5.5, 6],
            [None] * 7,
        ]
    )
    taken = services.counts_take(by=keeper, name="shelf.xlsx", content=content)
    assert taken.changes == 3
    stock = LidStock.objects.get()
    assert (stock.on_hand, stock.bought) == (10, 10)
    assert pectin.lots.get().count == 4
    assert (vinegar.lots.get().count, vinegar.lots.get().strength_tenths) == (6, 55)
    assert services.ledger_audit().is_sound


@pytest.mark.parametrize(
    ("row", "column"),
    [
        ("supply,Salt,,,1", "item"),
        ("supply,Pectin,31.3.2030,,1", "use by"),
        ("supply,Pectin,,5,1", "strength"),
        ("supply,Cider vinegar,,,1", "strength"),
        ("supply,Cider vinegar,,strong,1", "strength"),
    ],
)
def test_a_supply_row_that_cannot_be_read_names_its_column(keeper, row, column):
    make_supply("Pectin", by=keeper)
    make_supply("Cider vinegar", by=keeper, kind="vinegar")
    content = f"what,item,use by,strength,count\n{row}\n".encode()
    plan = services.counts_try(by=keeper, name="x.csv", content=content)
    assert [one.column for one in plan.problems] == [column]


def tried(keeper, text):
    return services.counts_try(by=keeper, name="x.csv", content=text.encode())


def test_what_no_row_names_is_left_as_it_is_booked(keeper):
    kitchen = services.kitchen_place(make_kitchen(name="Plum Lane"))
    make_jars(kitchen, 10, by=keeper)
    make_stock(make_supply("Pectin", by=keeper), 9, by=keeper)
    plan = tried(keeper, "what,place,size,count\njars,club store,quart,3\n")
    assert [(one.label, one.was, one.count) for one in plan.changes] == [("club store: quart, empty", 0, 3)]


def test_a_file_without_states_is_asked_which_jars_where_there_are_others(keeper):
    kitchen = services.kitchen_place(make_kitchen(name="Plum Lane"))
    chipped = f"{HEAD}jars,Plum Lane,pint,chipped,,2\n"
    services.counts_take(by=keeper, name="x.csv", content=chipped.encode())
    bare = "what,place,size,count\njars,Plum Lane,pint,12\n"
    assert [(one.row, one.column) for one in tried(keeper, bare).problems] == [(2, "state")]
    assert tried(keeper, bare.replace("pint", "quart")).ok
    assert tried(keeper, f"{HEAD}jars,Plum Lane,pint,,,12\n").ok  # the column is there, and the cell says: empty ones
    assert there(kitchen) == 0


def test_a_file_without_dates_is_asked_which_where_a_supply_has_some(keeper):
    pectin = make_supply("Pectin", by=keeper)
    make_stock(pectin, 9, by=keeper, use_by=date(2030, 3, 31))
    make_supply("Sugar", by=keeper)
    bare = "what,item,count\nsupply,Pectin,9\nsupply,Sugar,2\n"
    assert [(one.row, one.column) for one in tried(keeper, bare).problems] == [(2, "use by")]
    dated = tried(keeper, "what,item,use by,count\nsupply,Pectin,2030-03-31,9\nsupply,Pectin,,1\n")
    assert [(one.was, one.count) for one in dated.changes] == [(0, 1)]


@pytest.mark.parametrize("text", ["what,size,count\njars,pint,5\n", "what,place,size,count\njars,,pint,5\n"])
def test_jars_of_no_place_are_nobody_s_not_even_a_nameless_member_s(keeper, text):
    User.objects.create_superuser("root@example.test", "seven copper ladles")
    assert [one.column for one in tried(keeper, text).problems] == ["place"]


def test_the_trial_shows_every_change_and_what_it_passes_over(keeper, sign_in):
    for number in range(250):
        make_supply(f"Supply {number}", by=keeper)
    rows = "".join(f"supply,Supply {number},1,clean\n" for number in range(250))
    content = f"what,item,count,status\n{rows}".encode()
    page = sign_in(keeper).post(reverse("jars:counts"), {"file": SimpleUploadedFile("x.csv", content)})
    assert page.text.count('data-label="Counted"') == 250
    assert "In the file, but not taken in:" in page.text
    assert "<strong>status</strong>" in page.text


def bomb():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/worksheets/sheet1.xml", b"0" * (tables.MOST_UNPACKED + 1))
    return out.getvalue()


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("x.csv", b"", "empty"),
        ("x.csv", b"place,count\nstore,1\n", "Missing: what"),
        ("x.csv", "what,count\nKüche,1\n".encode("latin-1"), "UTF-8"),
        ("x.csv", b"what,count\n\0", "neither a CSV"),
        ("x.xlsx", b"PK nonsense", "cannot be read"),
        ("x.xlsx", bomb(), "cannot be read"),
        ("x.csv", b"what,count\n" + b"jars,1\n" * (tables.MOST_ROWS + 1), "more than 5000 rows"),
        ("x.csv", b"x" * (MOST_BYTES + 1), "larger than 2 MB"),
    ],
)
def test_a_file_that_is_no_table_is_refused_with_what_to_do(keeper, name, content, said):
    plan = services.counts_try(by=keeper, name=name, content=content)
    assert [(one.file, one.row) for one in plan.problems] == [(name, 1)]
    assert said in plan.problems[0].message


@pytest.mark.parametrize("mark", [";", "\t"])
def test_a_csv_with_another_separator_and_a_byte_order_mark_is_read(keeper, mark):
    text = mark.join(["what", "place", "size", "count"]) + "\r\n" + mark.join(["jars", "store", "pint", "5"])
    services.counts_take(by=keeper, name="x.csv", content=b"\xef\xbb\xbf" + text.encode())
    assert there(services.store_place()) == 5


def test_only_who_keeps_the_ledger_brings_counts_in():
    member = make_person()
    with pytest.raises(PermissionDenied):
        services.counts_try(by=member, name="x.csv", content=b"")
    with pytest.raises(PermissionDenied):
        take(member, "jars,store,pint,,,5\n")


# The page


def upload(text, **more):
    return {"file": SimpleUploadedFile("shelf.csv", (HEAD + text).encode()), **more}


def test_the_page_is_looked_over_and_then_booked_without_choosing_the_file_again(keeper, sign_in):
    client, page = sign_in(keeper), reverse("jars:counts")
    text = "jars,store,pint,,,5\n"
    look = client.post(page, upload(text))
    assert look.status_code == 200
    assert "1 differ" in look.content.decode()
    assert not Movement.objects.exists()
    checked = {"checked": look.context["checked"]}
    assert client.post(page, checked).status_code == 302
    assert there(services.store_place()) == 5
    client.post(page, checked)
    assert there(services.store_place()) == 5
    client.post(page, {"checked": checked["checked"] + "x"})  # not what was looked over
    assert Movement.objects.count() == 1
    wrong = client.post(page, upload("jars,Nowhere,pint,,,5\n"))
    assert wrong.status_code == 422
    assert all(part in wrong.content.decode() for part in ("shelf.csv", "place", "No kitchen or member"))


@pytest.mark.parametrize(
    ("content", "said"),
    [(BROKEN_CELL, "row 2, column 1 is broken"), (A_MILLION_ROWS, "row 1048576"), (ALL_COLUMNS, "100 columns")],
)
def test_a_workbook_that_claims_too_much_or_is_broken_is_refused_on_the_page(keeper, sign_in, content, said):
    answer = sign_in(keeper).post(reverse("jars:counts"), {"file": SimpleUploadedFile("a.xlsx", content)})
    assert answer.status_code == 422
    assert said in answer.content.decode()


# Out


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx", "\rx"])
def test_a_text_cell_that_would_be_a_formula_gets_an_apostrophe_and_reads_back_as_it_was(text):
    assert tables.safe_cell(text) == f"'{text}"
    assert tables.cell_text(tables.safe_cell(text)) == text.strip()


def test_numbers_stay_numbers_and_plain_text_stays_plain():
    assert [tables.safe_cell(cell) for cell in (-5, -1.5, None, "plum", "'tis")] == [-5, -1.5, None, "plum", "'tis"]


@pytest.fixture
def stocked(keeper):
    kitchen = make_kitchen(keeper, name='=HYPERLINK("http://x.test")')
    make_batch_out(by=keeper, kitchen=kitchen, lid_code="@LID")
    make_loan(make_person(name="-1+2"), 5, by=keeper, deposit_cents=50)
    make_stock(make_supply("+Pectin", by=keeper), 5, by=keeper, use_by=club_day() + timedelta(days=9))
    order, member = make_order(by=keeper, title="@Lids"), make_person(name="=1+2")
    wish(order, member, lids=2)
    told = {"order": order, "member": member, "cents": -50, "note": "+back"}
    services.order_payment_note(by=keeper, token=uuid4(), **told)
    return keeper


@pytest.mark.parametrize("table", list(TABLES))
def test_every_table_goes_out_as_csv_with_all_its_rows_and_no_formula(stocked, sign_in, table):
    answer = sign_in(stocked).get(reverse("jars:export-csv", args=[table]))
    text = b"".join(answer.streaming_content).decode()
    rows = list(csv.reader(io.StringIO(text)))
    assert rows[0] == list(TABLES[table].heads)
    assert len(rows) - 1 >= TABLES[table].size() > 0
    numbers = ("count", "change", "jars", "cents")
    for row in rows[1:]:
        plain = [cell for head, cell in zip(rows[0], row, strict=True) if head not in numbers]
        assert not any(cell.startswith(tables.FORMULA_BEGINS) for cell in plain)


def test_the_workbook_holds_every_table_and_no_formula(stocked, sign_in):
    answer = sign_in(stocked).get(reverse("jars:export-workbook"))
    book = openpyxl.load_workbook(io.BytesIO(answer.content))
    assert book.sheetnames == [table.title for table in TABLES.values()]
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert all(cell.data_type != "f" for cell in cells)
    assert any(str(cell.value).startswith("'=HYPERLINK") for cell in cells)


def test_the_counts_that_go_out_come_in_again_and_change_nothing(stocked, sign_in):
    before = Movement.objects.count()
    text = b"".join(sign_in(stocked).get(reverse("jars:export-csv", args=["counts"])).streaming_content)
    plan = services.counts_try(by=stocked, name="counts.csv", content=text)
    assert (plan.problems, plan.changes) == ([], [])
    assert plan.rows >= 4
    assert services.counts_take(by=stocked, name="counts.csv", content=text).changes == 0
    assert Movement.objects.count() == before
    assert SupplyLot.objects.get().count == 5
