"""Reading the library: search and filters, a recipe's page, its older revisions, the process tables."""

from __future__ import annotations

import pytest

from recipes.engine.physics import altitude_from_text
from recipes.models import ProcessTable, Recipe
from recipes.presentation import band_tables, process_here
from tests.factories.recipes import VEGETABLE, make_process_table, make_revision
from tests.published.library import recipes

pytestmark = pytest.mark.django_db

LIST = "/recipes/"


@pytest.fixture
def reader(client, member):
    client.force_login(member)
    return client


def titles(response):
    return [recipe.title for recipe in response.context["recipes"]]


@pytest.fixture
def shelf():
    make_revision(title="Plum spread")
    make_revision(title="Apple jelly", kind="jelly", produce=["apples"], process=one_row("pint"))
    make_revision(title="Jalapeño relish", kind="relish", produce=["peppers", "apples"])
    make_revision(base=VEGETABLE, title="Beans in jars")
    make_revision(title="Only a draft", state="draft")


def one_row(jar):
    bands = [[1000, 5], ["above", 10]]
    return [{"method": "boiling-water", "pack": "hot", "jar": jar, "minutes": bands, "seen": "seen-once"}]


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ("", ["Apple jelly", "Beans in jars", "Jalapeño relish", "Plum spread"]),
        ("?q=PLUM+spread", ["Plum spread"]),
        ("?q=jalapeno", ["Jalapeño relish"]),
        ("?q=JALAPEÑO", ["Jalapeño relish"]),
        ("?q=lemon", ["Apple jelly", "Jalapeño relish", "Plum spread"]),
        ("?q=lemon+beans", []),
        ("?q=%25", []),
        ("?produce=apples", ["Apple jelly", "Jalapeño relish"]),
        ("?produce=apples&kind=jelly", ["Apple jelly"]),
        ("?method=pressure", ["Beans in jars"]),
        ("?jar=half-pint", ["Jalapeño relish", "Plum spread"]),
        ("?jar=quart&method=pressure&q=water", ["Beans in jars"]),
        ("?jar=half-pint&method=pressure", []),
    ],
)
def test_words_and_filters_find_published_recipes_only(reader, shelf, query, found):
    assert titles(reader.get(LIST + query)) == found


def test_each_choice_says_how_many_recipes_it_would_leave(reader, shelf):
    form = reader.get(LIST + "?produce=apples").context["form"]
    assert dict(form.fields["kind"].choices) == {
        "": "any",
        "jam": "jam (0)",
        "jelly": "jelly (1)",
        "relish": "relish (1)",
        "vegetable": "vegetable (0)",
    }
    assert dict(form.fields["produce"].choices)["plums"] == "plums (1)"


def test_what_was_asked_stays_in_the_fields_and_in_the_pages_links(reader):
    for number in range(31):
        make_revision(title=f"Spread {number:02}")
    page = reader.get(LIST + "?q=spread&kind=jam").content.decode()
    assert 'value="spread"' in page
    assert '<option value="jam" selected>' in page
    assert "?q=spread&amp;kind=jam&amp;page=2" in page
    assert len(titles(reader.get(LIST + "?q=spread&page=2"))) == 1


@pytest.mark.parametrize("query", ["?kind=zzz", "?jar=bucket", "?method=%00", "?produce=<b>"])
def test_a_filter_that_no_recipe_has_is_said_beside_its_field(reader, shelf, query):
    response = reader.get(LIST + query)
    assert response.status_code == 200
    assert titles(response) == []
    assert "No recipe has" in response.content.decode()
    assert "<b>" not in response.content.decode()


@pytest.mark.parametrize(
    "query", ["?q=%00", "?q=" + "x" * 5000, "?page=0", "?page=-1", "?page=x", "?page=" + "9" * 400]
)
def test_odd_queries_are_answered(reader, shelf, query):
    assert reader.get(LIST + query).status_code == 200


def test_an_empty_library_says_so(reader):
    assert "No tested recipe fits this" in reader.get(LIST).content.decode()


@pytest.mark.parametrize("count", [1, 30])
def test_the_list_asks_the_database_as_often_for_one_recipe_as_for_thirty(reader, django_assert_max_num_queries, count):
    for _ in range(count):
        make_revision()
    with django_assert_max_num_queries(7):
        assert len(titles(reader.get(LIST))) == count


@pytest.mark.parametrize("count", [1, 30])
def test_a_recipe_page_asks_as_often_for_one_revision_as_for_thirty(
    reader, member, make_kitchen, django_assert_max_num_queries, count
):
    first = make_revision(slug="test-spread")
    for _ in range(count - 1):
        make_revision(first.recipe)
        make_kitchen(member)
    with django_assert_max_num_queries(10):
        page = reader.get("/recipes/test-spread/").content.decode()
    assert f"Revision {count}<" in page


def test_a_recipe_page_shows_the_kitchens_band_and_its_temperatures_in_both_scales(reader, member, make_kitchen):
    make_revision(slug="test-spread")
    low, high = make_kitchen(member, altitude_m="100"), make_kitchen(member, altitude_m="1040")
    page = reader.get("/recipes/test-spread/").content.decode()
    assert f"{low.name} is here" in page
    response = reader.get(f"/recipes/test-spread/?kitchen={high.pk}")
    page = response.content.decode()
    assert f"{high.name} is here" in page
    assert "1,040 m (3,412.1 ft)" in page
    assert "96.5 °C (205.7 °F)" in page
    assert "101.0 °C (213.7 °F)" in page
    marked = [line for table in response.context["tables"] for line in table.lines if line.is_here]
    assert [(line.text, line.figures) for line in marked] == [
        ("305 to 1,828 m (1,001 to 6,000 ft)", ("10 min", "10 min"))
    ]


def test_own_kitchens_come_before_halls(reader, member, make_kitchen):
    make_revision(slug="test-spread")
    make_kitchen(altitude_m="10", is_hall=True)
    own = make_kitchen(member, altitude_m="2000")
    assert reader.get("/recipes/test-spread/").context["kitchen"] == own


@pytest.mark.parametrize("query", ["?kitchen={foreign}", "?kitchen=99999", "?kitchen=x", "?kitchen=", "?kitchen=-1"])
def test_a_kitchen_that_is_not_ones_own_marks_no_band_and_is_refused_beside_the_field(
    reader, member, make_person, make_kitchen, query
):
    make_revision(slug="test-spread")
    make_kitchen(member)
    foreign = make_kitchen(make_person("member"), altitude_m="1040")
    response = reader.get("/recipes/test-spread/" + query.format(foreign=foreign.pk))
    assert response.status_code == 200
    assert "kitchen" in response.context["form"].errors
    assert response.context["kitchen"] is None
    assert not [line for table in response.context["tables"] for line in table.lines if line.is_here]
    assert foreign.name not in response.content.decode()


def test_without_a_kitchen_or_its_altitude_the_page_says_what_to_do(reader, member, make_kitchen):
    make_revision(slug="test-spread")
    assert "/people/kitchens/add/" in reader.get("/recipes/test-spread/").content.decode()
    kitchen = make_kitchen(member, altitude_m=None)
    page = reader.get("/recipes/test-spread/").content.decode()
    assert f"/people/kitchens/{kitchen.pk}/" in page
    assert "here-band" not in page
    assert "Water boils there" not in page


def test_amounts_come_in_the_readers_units_and_can_be_switched(client, make_person):
    make_revision(slug="test-spread")
    for own, query, first in (("metric", "", "600 g"), ("metric", "?units=us", "3 cups"), ("us", "", "3 cups")):
        client.force_login(make_person("member", units=own))
        lines = client.get("/recipes/test-spread/" + query).context["lines"]
        assert next(line.amount for line in lines if line.item == "sugar") == first


def test_a_made_up_unit_is_refused_beside_the_field(reader):
    make_revision(slug="test-spread")
    response = reader.get("/recipes/test-spread/?units=furlongs")
    assert "units" in response.context["form"].errors
    assert response.context["lines"][1].amount == "600 g"


def test_the_source_cautions_and_steps_are_shown(reader):
    make_revision(slug="test-spread")
    page = reader.get("/recipes/test-spread/").content.decode()
    for words in ("Test Kitchen Leaflet, 2nd, 2015, page 7", "Keep the jars hot", "Stir the plums", "6 mm (1/4 in)"):
        assert words in page


def test_what_a_recipe_says_is_escaped(reader):
    make_revision(slug="test-spread", title="<script>alert(1)</script>", steps=["<b>Boil</b>"])
    page = reader.get("/recipes/test-spread/").content.decode()
    assert "<script>alert" not in page
    assert "<b>Boil" not in page


def test_rows_that_nobody_saw_in_print_are_not_shown(reader):
    unseen = [*one_row("half-pint"), {**one_row("pint")[0], "seen": "memory", "minutes": [["above", 77]]}]
    make_revision(slug="test-spread", process=unseen)
    page = reader.get("/recipes/test-spread/").content.decode()
    assert "77 min" not in page
    assert Recipe.objects.get().jars == "|half-pint|"


def test_a_pressure_recipe_shows_pressures_in_both_units(reader, member, make_kitchen):
    make_revision(base=VEGETABLE, slug="beans")
    make_kitchen(member, altitude_m="1040")
    page = reader.get("/recipes/beans/").content.decode()
    for words in ("83 kPa (12 psi)", "104 kPa (15 psi)", "quart (946 ml), 25 min", "raw pack"):
        assert words in page


def test_an_older_revision_has_its_own_page_and_no_plan_button(reader):
    first = make_revision(slug="test-spread", title="First title")
    make_revision(first.recipe, title="Second title")
    older = reader.get("/recipes/test-spread/revisions/1/").content.decode()
    assert "First title" in older
    assert "This is an older revision" in older
    assert "/recipes/test-spread/plan/" not in older
    current = reader.get("/recipes/test-spread/").content.decode()
    assert "Second title" in current
    assert "/recipes/test-spread/plan/" in current


def test_a_withdrawn_recipe_shows_the_reason_and_no_plan_button(reader):
    make_revision(slug="gone", state="withdrawn")
    page = reader.get("/recipes/gone/").content.decode()
    assert "Withdrawn, do not use: The test was repeated with another result." in page
    assert "/recipes/gone/plan/" not in page
    assert reader.get("/recipes/gone/plan/").status_code == 404


@pytest.mark.parametrize(
    "path", ["draft-only/", "no-such/", "draft-only/plan/", "known/revisions/2/", "known/revisions/0/"]
)
def test_what_is_not_published_is_not_found(reader, path):
    make_revision(slug="known")
    make_revision(slug="draft-only", state="draft")
    assert reader.get(LIST + path).status_code == 404


@pytest.mark.parametrize(
    "path", ["", "test-spread/", "test-spread/revisions/1/", "test-spread/plan/", "process-tables/"]
)
def test_nobody_reads_without_signing_in_and_nothing_is_posted(client, member, path):
    make_revision(slug="test-spread")
    assert client.get(LIST + path).status_code == 302
    client.force_login(member)
    assert client.get(LIST + path).status_code == 200
    assert client.post(LIST + path).status_code == 405


def test_process_tables_are_found_by_food_with_the_kitchens_band_marked(reader, member, make_kitchen):
    make_process_table(food="Apricots", variant="halved")
    make_process_table(food="Pears")
    kitchen = make_kitchen(member, altitude_m="1040")
    page = reader.get("/recipes/process-tables/?q=apricot+halved").content.decode()
    assert "Apricots, halved" in page
    assert "Pears" not in page
    assert f"{kitchen.name} is here" in page
    assert "No process table for such a food" in reader.get("/recipes/process-tables/?q=moose").content.decode()


def test_a_process_table_that_nobody_saw_is_for_instructors_only_and_without_figures(client, member, instructor):
    make_process_table(food="Quinces", seen="memory", minutes=77)
    for person, shown in ((member, False), (instructor, True)):
        client.force_login(person)
        page = client.get("/recipes/process-tables/").content.decode()
        assert ("Quinces" in page) is shown
        assert ("held back" in page) is shown
        assert "77 min" not in page


@pytest.mark.parametrize("count", [1, 30])
def test_the_process_tables_ask_as_often_for_one_as_for_thirty(reader, django_assert_max_num_queries, count):
    for number in range(count):
        make_process_table(food=f"Food {number}")
    with django_assert_max_num_queries(8):
        assert len(reader.get("/recipes/process-tables/").context["shown"]) == count
    assert ProcessTable.objects.count() == count


def test_process_tables_follow_the_alphabet_whatever_the_capitals_and_few_stand_open(reader):
    for food in ("apples", "Asian pears", "beets", "Apricots"):
        make_process_table(food=food)
    answer = reader.get("/recipes/process-tables/")
    assert [row.food for row, *_rest in answer.context["shown"]] == [
        "apples",
        "Apricots",
        "Asian pears",
        "beets",
    ]
    assert '<details class="fold" >' in answer.content.decode()
    assert '<details class="fold" open>' not in answer.content.decode()
    assert '<details class="fold" open>' in reader.get("/recipes/process-tables/?q=beets").content.decode()


def test_packs_of_one_figure_are_said_together_and_a_kitchen_above_the_table_is_told_so():
    beans = recipes()["snap-beans"]

    def here(altitude):
        return process_here(band_tables(beans.process, altitude, beans))

    assert [(one.title, one.packs) for one in here(altitude_from_text("4500 ft"))] == [
        ("Pressure, dial gauge", "hot pack, raw pack"),
        ("Pressure, weighted gauge", "hot pack, raw pack"),
    ]
    # USDA Complete Guide to Home Canning (2015), guide 4: 13 psi from 4,001 to 6,000 ft.
    assert [figure for _jar, figure in here(altitude_from_text("4500 ft"))[0].figures] == ["13 psi (90 kPa)"] * 2
    assert here(None) == []
    assert here(altitude_from_text("8500 ft"))[0].figures == ()
