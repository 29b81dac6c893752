"""May I change this? The page says the engine's verdict, rule, source and message, and not by colour alone."""

from __future__ import annotations

import html

import pytest

from recipes.engine.changes import CHANGE_RULES, check_changes
from recipes.views import WENT_WRONG
from tests.factories.recipes import make_revision

pytestmark = pytest.mark.django_db

PAGE = "/recipes/test-spread/changes/"


@pytest.fixture
def spread():
    return make_revision(slug="test-spread")


@pytest.fixture
def ask(client, member, spread):
    client.force_login(member)
    return lambda text: client.get(PAGE, {"change": text})


def test_each_change_has_its_verdict_reading_source_and_message_and_no_code(ask, spread):
    wanted = ["jar quart", "add cinnamon 1 tsp", "less sugar"]
    page = html.unescape(ask("\n".join(wanted)).content.decode())
    checked = check_changes(spread.tested, wanted)
    assert len({verdict.verdict for verdict in checked.verdicts}) >= 2
    for verdict in checked.verdicts:
        for words in (verdict.change, verdict.message, verdict.reading, verdict.source):
            assert words in page
        assert f"Rule {verdict.rule}" not in page


def test_a_verdict_is_a_word_and_not_a_colour_alone(ask):
    page = ask("jar quart").content.decode()
    assert "refused" in page
    assert "Please do not make it so" in page


def test_what_was_not_understood_says_so_offers_three_readings_and_names_an_instructor(ask, instructor):
    response = ask("flumox the gribble")
    (answer,) = response.context["answers"]
    assert (answer["kind"], str(answer["words"])) == ("stop", "not understood")
    page = html.unescape(response.content.decode())
    assert len(answer["verdict"].nearest) == 3
    assert all(wish in page for wish in answer["verdict"].nearest)
    assert instructor in response.context["instructors"]
    assert instructor.name in page


PICKED = [
    ({"done": "less", "line": "sugar"}, "less sugar"),
    ({"done": "set", "line": "sugar", "amount": "3", "unit": "cup"}, "sugar 3 cups"),
    ({"done": "add", "thing": "cinnamon", "amount": "1", "unit": "tsp"}, "add cinnamon 1 tsp"),
    (
        {"done": "swap", "line": "lemon juice", "thing": "bottled lime juice"},
        "bottled lime juice instead of lemon juice",
    ),
    ({"done": "omit", "line": "lemon juice"}, "omit lemon juice"),
    ({"vessel": "jar:quart"}, "jar quart"),
    ({"vessel": "pot:1/2"}, "halve the pot"),
    ({"vessel": "canner:steam"}, "steam canner"),
]


@pytest.mark.parametrize(("picked", "text"), PICKED)
def test_what_is_picked_from_lists_is_answered_as_the_words_are(client, member, spread, picked, text):
    client.force_login(member)
    response = client.get(PAGE, {"change": "", **picked})
    (answer,) = response.context["answers"]
    said = check_changes(spread.tested, [text]).verdicts[0]
    assert (answer["verdict"].rule, answer["verdict"].verdict) == (said.rule, said.verdict)
    assert answer["verdict"].reading in html.unescape(response.content.decode())


@pytest.mark.parametrize(
    ("picked", "field"),
    [
        ({"done": "less"}, "line"),
        ({"done": "swap", "line": "sugar"}, "thing"),
        ({"done": "add"}, "thing"),
        ({"done": "set", "line": "sugar"}, "amount"),
        ({"done": "set", "line": "sugar", "amount": "much", "unit": "cup"}, "amount"),
        ({"line": "sugar"}, "done"),
        ({"done": "less", "line": "no such line"}, "line"),
        ({"vessel": "jar:bucket"}, "vessel"),
    ],
)
def test_a_pick_that_is_not_whole_is_said_beside_its_field_and_kept(client, member, spread, picked, field):
    client.force_login(member)
    form = client.get(PAGE, {"change": "", **picked}).context["form"]
    assert field in form.errors
    assert all(form[name].value() == value for name, value in picked.items())


def test_what_the_recipe_itself_allows_stands_on_the_page(client, member):
    client.force_login(member)
    make_revision(slug="tomatoes", kind="juice", method="boiling-water", produce=["tomatoes"], ingredients=TOMATOES)
    page = client.get("/recipes/tomatoes/changes/")
    assert {entry.code for entry in page.context["allowed"]} == {"ACID-TOMATO-CITRIC", "ACID-TOMATO-VINEGAR"}
    assert "Citric acid may stand in" in page.content.decode()


TOMATOES = [
    {"item": "tomatoes", "role": "fruit", "amount": "21", "unit": "lb"},
    {"item": "lemon juice", "prep": "bottled: 2 tbsp in each quart", "role": "acid", "amount": "14", "unit": "tbsp"},
]


def test_what_was_typed_is_kept_and_empty_lines_do_not_count(ask):
    response = ask("less sugar\r\n\r\n  jar pint  \r\n")
    assert [answer["verdict"].change for answer in response.context["answers"]] == ["less sugar", "jar pint"]
    assert "less sugar" in response.context["form"]["change"].value()


@pytest.mark.parametrize("text", ["", "   \n ", "x\n" * 21, "y" * 201, "z" * 9000, "\x00"])
def test_nothing_too_many_or_too_long_is_said_beside_the_field(ask, text):
    response = ask(text)
    assert response.status_code == 200
    assert set(response.context["form"].errors) == {"change"}
    assert "answers" not in response.context


def test_the_bare_page_has_no_complaint_and_explains_the_grammar(client, member, spread):
    client.force_login(member)
    response = client.get(PAGE)
    assert not response.context["form"].is_bound
    assert "omit ITEM" in response.content.decode()


def test_markup_in_a_change_is_text(ask):
    assert b"<script>alert" not in ask("<script>alert(1)</script>").content


def test_the_recipe_links_here_and_a_withdrawn_recipe_has_no_such_page(client, member, spread):
    client.force_login(member)
    assert PAGE in client.get("/recipes/test-spread/").content.decode()
    make_revision(slug="gone", state="withdrawn")
    assert client.get("/recipes/gone/changes/").status_code == 404
    assert "/recipes/gone/changes/" not in client.get("/recipes/gone/").content.decode()


@pytest.mark.parametrize("rows", [1, 20])
def test_the_page_asks_as_often_for_one_change_as_for_twenty(ask, rows, django_assert_max_num_queries):
    with django_assert_max_num_queries(5):
        assert len(ask("less sugar\n" * rows).context["answers"]) == rows


def test_a_text_about_an_accident_leads_to_the_page_of_what_went_wrong(ask, client):
    response = ask("the pressure dropped for a minute")
    (answer,) = response.context["answers"]
    assert answer["went_wrong"] == "heat-fell"
    address = html.unescape(response.content.decode()).split('href="/batches/wrong/?')[1].split('"')[0]
    assert address == "what=heat-fell&food=acid"
    assert client.get(f"/batches/wrong/?{address}").context["answer"].situation == "heat-fell"


@pytest.mark.parametrize("rule", WENT_WRONG)
def test_every_kind_of_accident_has_a_place_on_that_page(rule, ask, client):
    page = client.get("/batches/wrong/", {"what": WENT_WRONG[rule]})
    assert ("answer" in page.context) == bool(WENT_WRONG[rule])
    assert rule.startswith("ACCIDENT")


def test_no_kind_of_accident_is_left_out():
    assert set(WENT_WRONG) == {code for code in CHANGE_RULES if code.startswith("ACCIDENT-")}


def test_a_change_leads_nowhere_else(ask):
    (answer,) = ask("less sugar").context["answers"]
    assert answer["went_wrong"] is None
