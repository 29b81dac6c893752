"""The labels in somebody's printer: chosen, measured, refused where they do not fit, remembered."""

from __future__ import annotations

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from club.core.sheets import SHEETS
from club.members.models import LabelPaper, label_paper_of
from tests.factories.members import make_person
from tests.pdfs import pages_of

pytestmark = pytest.mark.django_db
PAGE = reverse("members:my-labels")
TOLD = {
    "page_width": "8.5 in",
    "page_height": "11 in",
    "columns": "2",
    "rows": "5",
    "side": "0,25",
    "top": "12.7 mm",
    "gap_across": "0",
    "gap_down": "0",
    "first_free": "3",
    "signed": "club",
}


@pytest.fixture
def person(client):
    person = make_person(units="us")
    client.force_login(person)
    return person


def test_before_anything_is_set_it_is_plain_paper_of_the_club_s_region(client, person, settings):
    assert label_paper_of(person).sheet == SHEETS["letter-3x8-plain"][1]
    settings.PAPER = "a4"
    assert label_paper_of(person).sheet == SHEETS["a4-3x8-plain"][1]
    assert client.get(PAGE).status_code == 200
    assert not LabelPaper.objects.exists()


def test_a_sheet_is_chosen_then_measured_in_either_unit_and_its_test_page_printed(
    client, person, django_assert_max_num_queries
):
    assert client.post(reverse("members:my-labels-choose"), {"sheet": "letter-2x5"}).status_code == 302
    assert label_paper_of(person).sheet == SHEETS["letter-2x5"][1]
    assert client.post(PAGE, TOLD).status_code == 302
    paper = LabelPaper.objects.get(person=person)
    assert (paper.page_width, paper.page_height, paper.side, paper.top) == (2159, 2794, 64, 127)
    assert (paper.first_free, paper.signed) == (3, "club")
    with django_assert_max_num_queries(8):
        shown = client.get(PAGE).content.decode()
    assert 'value="8.5 in"' in shown
    [page] = pages_of(client.get(reverse("members:my-labels-test")).content)
    assert "10" in page
    client.post(reverse("members:my-labels-choose"), {"sheet": "napkin"})
    assert LabelPaper.objects.get(person=person).columns == 2


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"first_free": "11"}, "first_free"),
        ({"columns": "19"}, "columns"),
        ({"rows": "2", "top": "5 in"}, "rows"),
        ({"side": "a thumb"}, "side"),
        ({"page_width": "3 yd"}, "page_width"),
        ({"page_height": "99 in"}, "page_height"),
    ],
)
def test_what_cannot_be_a_sheet_is_said_beside_its_field_and_nothing_changes(client, person, changed, field):
    answer = client.post(PAGE, TOLD | changed)
    assert list(answer.context["form"].errors) == [field]
    assert not LabelPaper.objects.exists()


def test_the_database_holds_it_too(person):
    for wrong in ({"first_free": 11}, {"side": 1200}, {"gap_down": 1000}, {"page_width": 9000}):
        sheet = {"page_width": 2100, "page_height": 2970, "columns": 2, "rows": 5} | wrong
        with pytest.raises(IntegrityError), transaction.atomic():
            LabelPaper.objects.create(person=person, **sheet)
