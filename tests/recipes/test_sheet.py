"""The recipe sheet for the wall: one page, the row of one kitchen alone, and none where a wall must not have it."""

from __future__ import annotations

import pytest

from recipes.models import Revision
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import VEGETABLE, make_revision
from tests.pdfs import pages_of

pytestmark = pytest.mark.django_db
SHEET = "/recipes/test-spread/sheet.pdf"


@pytest.fixture
def reader(client):
    reader = make_person(units="metric")
    client.force_login(reader)
    return reader


def sheet_of(client, **query) -> str:
    answer = client.get(SHEET, query)
    assert answer["Content-Type"] == "application/pdf"
    [page] = pages_of(answer.content)
    return " ".join(page)


def test_it_has_this_kitchen_s_row_alone_on_one_page(client, reader, django_assert_max_num_queries):
    make_revision(slug="test-spread", title="Śliwki, ⅔ cup")
    low, high = make_kitchen(reader, name="Low", altitude="100 m"), make_kitchen(reader, name="High", altitude="1040 m")
    with django_assert_max_num_queries(9):
        text = sheet_of(client, kitchen=high.pk)
    for words in ("Śliwki, ⅔ cup", "Only for High, 1,040 m (3,412.1 ft)", "(1,001 to 6,000 ft)", "10 min", "plums"):
        assert words in text
    assert "5 min" not in text
    assert "0 to 1,000 ft" not in text
    text = sheet_of(client, kitchen=low.pk)
    assert "(0 to 1,000 ft)" in text
    assert "6,000 ft" not in text


def test_forty_long_steps_are_on_one_page_all_the_same(client, reader):
    steps = [f"Step {n} says at length what is done with the fruit, and nobody has to ask." for n in range(40)]
    make_revision(slug="test-spread", steps=steps)
    kitchen = make_kitchen(reader, name="High", altitude="1040 m")
    text = sheet_of(client, kitchen=kitchen.pk)
    assert all(f"Step {n} says" in text for n in range(40))
    assert "Keep the jars hot until they are filled." in text


def test_a_low_acid_sheet_has_its_pressure_and_how_the_canner_is_worked(client, reader):
    make_revision(base=VEGETABLE, slug="test-spread")
    kitchen = make_kitchen(reader, name="High", altitude="1040 m")
    text = sheet_of(client, kitchen=kitchen.pk)
    assert "psi" in text
    assert "If the pressure falls below the mark" in text


def test_none_without_a_kitchen_above_the_table_or_of_what_is_withdrawn(client, reader):
    revision = make_revision(slug="test-spread")
    assert "Choose a kitchen whose altitude is known" in client.get(SHEET, follow=True).content.decode()
    high = make_kitchen(reader, name="High", altitude="1040 m")
    assert client.get(SHEET).status_code == 200
    peak = make_kitchen(reader, name="Peak", altitude="3000 m")
    dial = [{name: value for name, value in row.items() if name != "weighted_psi"} for row in VEGETABLE["process"]]
    make_revision(base=VEGETABLE, slug="dial-alone", process=dial)
    page = client.get("/recipes/dial-alone/sheet.pdf", {"kitchen": peak.pk}, follow=True).content.decode()
    assert "so there is no sheet" in page
    make_revision(base=VEGETABLE, slug="either-gauge")
    [page] = pages_of(client.get("/recipes/either-gauge/sheet.pdf", {"kitchen": peak.pk}).content)
    text = " ".join(page)
    assert "this kitchen lies above the table. It may not be used there." in text
    assert "15 psi" in text
    assert "14 psi" not in text
    kitchen = {"kitchen": high.pk}
    Revision.objects.filter(pk=revision.pk).update(refused_why="An instructor looks into it.")
    assert "withdrawn or held back" in client.get(SHEET, kitchen, follow=True).content.decode()
    assert client.get("/recipes/no-such/sheet.pdf").status_code == 404
