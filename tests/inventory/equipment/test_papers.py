"""Labels and the register sheet as PDF, and the sheet keyed in afterwards: all of it, or nothing."""

from __future__ import annotations

import re
import zlib
from base64 import a85decode
from datetime import date, timedelta
from uuid import uuid4

import pytest
import segno
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils import timezone

from club.core.clock import club_day
from club.core.papers import Label, SheetLine, labels_pdf, printable, sheet_pdf
from inventory.equipment import services
from inventory.equipment.models import Loan
from tests.factories.equipment import NOW, TODAY, day, make_keeper, make_loan, make_thing
from tests.factories.members import make_person

KEY_IN = reverse("equipment:key-in")


def pages_of(pdf: bytes) -> int:
    return len(re.findall(rb"/Type /Page\b", pdf))


def drawn(pdf: bytes) -> bytes:
    """What the pages draw, unpacked."""
    streams = re.findall(rb"stream\r?\n(.*?)endstream", pdf, re.S)
    return b"".join(zlib.decompress(a85decode(one.strip().removesuffix(b"~>"))) for one in streams if b"~>" in one)


def label(n: int = 1) -> Label:
    return Label(
        f"BWC-{n:02d}", "Blue enamel canner", "Bench club", f"https://club.example.test/equipment/t/BWC-{n:02d}/"
    )


def test_twenty_four_labels_fill_a_page_and_one_more_begins_the_next():
    assert [pages_of(labels_pdf([label(n) for n in range(count)], paper="a4")) for count in (1, 24, 25)] == [1, 1, 2]
    assert b"BWC-01" in drawn(labels_pdf([label()], paper="letter"))


def test_the_square_on_a_label_is_dark_exactly_where_the_code_is_dark():
    matrix = [[bool(module) for module in row] for row in segno.make(label().url, error="m", micro=False).matrix]
    [filled] = re.findall(rb"n ([^n]*?)\nf\*", drawn(labels_pdf([label()], paper="a4")))
    found = re.findall(rb"([\d.]+) ([\d.]+) ([\d.]+) ([\d.]+) re", filled)
    boxes = [tuple(float(number) for number in box) for box in found]
    side, left, top = boxes[0][3], min(box[0] for box in boxes), max(box[1] for box in boxes)
    read = [[False] * len(matrix) for _ in matrix]
    for x, y, width, _height in boxes:
        first = round((x - left) / side)
        for module in range(first, first + round(width / side)):
            read[round((top - y) / side)][module] = True
    assert read == matrix


def test_letters_that_paper_does_not_know_do_not_break_it():
    assert printable("Küche ½ °C Łódź") == "Küche ½ °C ?ód?"
    lines = [SheetLine("A-1", "Łódź " * 40, "shelf", "Ada Plum", "09-14")] * 60
    assert pages_of(sheet_pdf(lines, paper="a4", club="Łódź club", printed=TODAY)) == 3


@pytest.mark.django_db
def test_labels_are_of_the_codes_asked_for(client):
    make_thing(code="A-1")
    make_thing(code="B-1")
    client.force_login(make_keeper())
    response = client.get(reverse("equipment:labels"), {"codes": "a-1"})
    assert response["Content-Type"] == "application/pdf"
    assert b"A-1" in drawn(response.content)
    assert b"B-1" not in drawn(response.content)


@pytest.mark.django_db
def test_labels_of_a_long_register_come_in_parts(client, monkeypatch):
    monkeypatch.setattr("inventory.equipment.views.things.A_PART", 2)
    for code in ("A-1", "A-2", "A-3"):
        make_thing(code=code)
    client.force_login(make_keeper())
    assert list(client.get(reverse("equipment:papers")).context["parts"]) == [1, 2]
    first, second = (drawn(client.get(reverse("equipment:labels"), {"part": n}).content) for n in (1, 2))
    assert [code in first for code in (b"A-1", b"A-2", b"A-3")] == [True, True, False]
    assert [code in second for code in (b"A-1", b"A-2", b"A-3")] == [False, False, True]


@pytest.mark.django_db
def test_the_sheet_says_who_has_what(client):
    loan = make_loan(make_thing(code="A-1"), make_person(name="Wanda Quill"))
    client.force_login(make_keeper())
    said = drawn(client.get(reverse("equipment:sheet")).content)
    assert b"Wanda Quill" in said
    assert f"{loan.due_on:%m-%d}".encode() in said


# Keying in


def row(thing, on: int, person=None, due: int | None = None, **told):
    return services.SheetRow(
        code=thing.code, on=day(on), person=person, due_on=None if due is None else day(due), **told
    )


def key_in(*rows, token=None, by=None):
    return services.sheet_key_in(by=by or make_keeper(), rows=rows, token=token or uuid4(), now=NOW)


@pytest.fixture
def clock(monkeypatch):
    """Keying in asks how long ago a day is: the test's own day, not this machine's."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)


@pytest.mark.django_db
def test_an_evening_s_lines_are_written_in_their_order(clock):
    first, second = make_thing(turnaround_own=0), make_thing()
    person = make_person()
    key_in(row(first, -3, person, 2), row(first, -1), row(second, -1, person, 5, condition="worn"))
    loans = list(Loan.objects.order_by("pk"))
    assert [one.returned_at is None for one in loans] == [False, True]
    assert (club_day(loans[0].returned_at), loans[1].due_on, loans[1].condition_out) == (day(-1), day(5), "worn")


@pytest.mark.django_db
def test_one_line_that_cannot_be_and_none_is_written_and_it_is_named(clock):
    thing, person = make_thing(), make_person()
    with pytest.raises(services.SheetRefused) as refused:
        key_in(
            row(thing, -2, person, 2),
            services.SheetRow(code="NO-1", on=day(-1)),
            row(make_thing(), -1),
            row(make_thing(), 1, person, 3),
            row(make_thing(), -40, person, 3),
            row(make_thing(), -1, person),
        )
    assert set(refused.value.rows) == {1, 2, 3, 4, 5}
    assert not Loan.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize("on", [date.min, date.max])
def test_a_day_out_of_all_reach_is_refused_like_any_other(on, clock):
    thing, person = make_thing(), make_person()
    with pytest.raises(services.SheetRefused):
        key_in(services.SheetRow(code=thing.code, on=on, person=person, due_on=date.max))
    with pytest.raises(services.SheetRefused):
        key_in(row(thing, -1, person), services.SheetRow(code=thing.code, on=day(-1), person=person, due_on=date.max))


@pytest.mark.django_db
def test_the_same_page_twice_writes_once(clock):
    thing, person, token = make_thing(turnaround_own=0), make_person(), uuid4()
    rows = (row(thing, -3, person, 2), row(thing, -2))
    keeper = make_keeper()
    assert key_in(*rows, token=token, by=keeper) == key_in(*rows, token=token, by=keeper)
    assert Loan.objects.count() == 1


@pytest.mark.django_db
def test_only_keepers_key_in():
    with pytest.raises(PermissionDenied):
        key_in(by=make_person())


@pytest.mark.django_db
def test_the_page_writes_its_lines_or_says_which_cannot_be(client):
    today = club_day(timezone.now())
    thing = make_thing(now=timezone.now() - timedelta(days=5))
    client.force_login(make_keeper())
    asked = {"token": uuid4()}
    for n in range(1, 11):
        asked |= {f"line-{n}-on": today, f"line-{n}-due_on": today + timedelta(days=7), f"line-{n}-condition": "good"}
    lines = {"line-1-code": thing.code, "line-1-person": make_person().email, "line-2-code": "NO-1"}
    refused = client.post(KEY_IN, {**asked, **lines})
    assert "no thing with the code NO-1" in refused.content.decode()
    assert not Loan.objects.exists()
    assert client.post(KEY_IN, {**asked, **lines, "line-2-code": ""}).status_code == 302
    assert Loan.objects.get().thing == thing
