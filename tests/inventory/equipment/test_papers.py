"""Labels and the register sheet as PDF, and the sheet keyed in afterwards: all of it, or nothing."""

from __future__ import annotations

import re
from datetime import date, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils import timezone

from club.core.clock import club_day
from club.core.papers import SheetLine, labels_pdf, sheet_pdf, text_width
from club.core.sheets import PLAIN, Label, Line, lay
from inventory.equipment import services
from inventory.equipment.choices import Kind
from inventory.equipment.models import Loan
from inventory.equipment.views.things import label_of
from tests.factories.equipment import NOW, TODAY, day, make_keeper, make_loan, make_test, make_thing, readings
from tests.factories.members import make_person
from tests.pdfs import pages_of, text_of_pdf

KEY_IN = reverse("equipment:key-in")


def label(n: int = 1) -> Label:
    lines = Line(f"BWC-{n:02d}", 1.6, is_bold=True), Line("Blue enamel canner"), Line("Bench club")
    return Label(lines, f"https://club.example.test/equipment/t/BWC-{n:02d}/")


def test_twenty_four_labels_fill_a_page_and_one_more_begins_the_next():
    made = [labels_pdf([label(n) for n in range(count)], PLAIN["a4"], title="Labels") for count in (1, 24, 25)]
    assert [len(pages_of(pdf)) for pdf in made] == [1, 1, 2]
    assert "BWC-00" in text_of_pdf(made[0])


def test_letters_that_paper_does_not_know_do_not_break_the_sheet():
    lines = [SheetLine("A-1", "漢字 " * 40, "shelf", "Ada Plum", "09-14")] * 60
    assert len(pages_of(sheet_pdf(lines, paper="a4", club="漢 club", printed=TODAY))) == 3


@pytest.mark.django_db
def test_a_long_name_and_a_club_of_41_letters_are_whole_on_the_label_and_within_it(client, settings):
    settings.CLUB_NAME = "Upper Valley Preserving Society of StJohn"
    assert len(settings.CLUB_NAME) == 41
    name = "Blue enamel canner with rack, lid and the long handle that was mended by Łukasz in the year of the flood"
    thing = make_thing(code="BWC-01", name=name)
    laid = lay(label_of(thing), PLAIN["letter"], text_width)
    assert laid is not None
    assert " ".join(one.text for one in laid.words) == f"BWC-01 {name} {settings.CLUB_NAME}"
    client.force_login(make_keeper())
    assert settings.CLUB_NAME in text_of_pdf(client.get(reverse("equipment:labels")).content)
    own = client.get(reverse("equipment:labels"), {"paper": "mine"})
    assert own["Content-Type"] == "application/pdf"


@pytest.mark.django_db
def test_a_canner_s_card_has_its_setting_by_the_last_test_its_parts_and_the_way_back(
    client, settings, django_assert_max_num_queries
):
    settings.CLUB_NAME = "Upper Valley Preserving Society of StJohn"
    today = club_day(timezone.now())
    keeper = make_keeper()
    long = "Łukasz's grandmother's pressure canner, ⅔ full for the school, with the handle that was mended twice"
    high, low, untested = (make_thing(Kind.DIAL_GAUGE, code=f"DGC-0{n}", name=long, by=keeper) for n in (1, 2, 3))
    for thing, error in ((high, "0.5"), (low, "-1")):
        shown = readings(*((str(point), str(point + Decimal(error))) for point in (5, 10, 15)))
        make_test(thing, today - timedelta(days=30), by=keeper, readings=shown, now=timezone.now())
    make_thing(Kind.WEIGHTED_GAUGE, code="WGC-01", care="Dry the gasket by itself.", by=keeper)
    make_thing(Kind.BOILING_WATER, code="BWC-01", place="shelf 3", by=keeper)
    make_thing(Kind.SCALE, code="SCA-01", by=keeper)
    client.force_login(keeper)
    with django_assert_max_num_queries(12):
        pages = pages_of(client.get(reverse("equipment:cards"), {"paper": "a4"}).content)
    assert [len([one for one in page if re.fullmatch(r"[A-Z]{3}-0\d", one)]) for page in pages] == [4, 1]
    text = " ".join(" ".join(page) for page in pages)
    for words in (
        "it must show the tested pressure of your plan and 1 psi more",
        "It must show at least the tested pressure of your plan",
        "Dial gauge without a good test: it is not used until one is passed",
        "The weight that your plan names for your kitchen's altitude",
        "shelf 3",
        "Dry the gasket by itself.",
    ):
        assert text.count(words) == 1, words
    assert len(re.findall(r"\[\s+\] \[\s+\] safety plug", text)) == 4
    assert text.count(long) == 3
    assert text.count(settings.CLUB_NAME) == 5
    assert "SCA-01" not in text
    one = text_of_pdf(client.get(reverse("equipment:cards"), {"codes": "dgc-03"}).content)
    assert "DGC-03" in one
    assert "DGC-01" not in one


@pytest.mark.django_db
def test_labels_are_of_the_codes_asked_for(client):
    make_thing(code="A-1")
    make_thing(code="B-1")
    client.force_login(make_keeper())
    response = client.get(reverse("equipment:labels"), {"codes": "a-1"})
    assert response["Content-Type"] == "application/pdf"
    assert "A-1" in text_of_pdf(response.content)
    assert "B-1" not in text_of_pdf(response.content)


@pytest.mark.django_db
def test_labels_of_a_long_register_come_in_parts(client, monkeypatch):
    monkeypatch.setattr("inventory.equipment.views.things.A_PART", 2)
    for code in ("A-1", "A-2", "A-3"):
        make_thing(code=code)
    client.force_login(make_keeper())
    assert list(client.get(reverse("equipment:papers")).context["parts"]) == [1, 2]
    first, second = (text_of_pdf(client.get(reverse("equipment:labels"), {"part": n}).content) for n in (1, 2))
    assert [code in first for code in ("A-1", "A-2", "A-3")] == [True, True, False]
    assert [code in second for code in ("A-1", "A-2", "A-3")] == [False, False, True]


@pytest.mark.django_db
def test_the_sheet_says_who_has_what(client):
    loan = make_loan(make_thing(code="A-1"), make_person(name="Wanda Quill"))
    client.force_login(make_keeper())
    said = text_of_pdf(client.get(reverse("equipment:sheet")).content)
    assert "Wanda Quill" in said
    assert f"{loan.due_on:%m-%d}" in said


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
