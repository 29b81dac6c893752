"""May I change this? The page says the engine's verdict, rule, source and message, and not by colour alone."""

from __future__ import annotations

import html

import pytest

from recipes.engine.changes import check_changes
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


def test_each_change_has_its_verdict_rule_source_and_message(ask, spread):
    wanted = ["jar quart", "add cinnamon 1 tsp", "less sugar"]
    page = html.unescape(ask("\n".join(wanted)).content.decode())
    checked = check_changes(spread.tested, wanted)
    assert len({verdict.verdict for verdict in checked.verdicts}) >= 2
    for verdict in checked.verdicts:
        for words in (verdict.change, verdict.message, verdict.rule, verdict.source):
            assert words in page


def test_a_verdict_is_a_word_and_not_a_colour_alone(ask):
    page = ask("jar quart").content.decode()
    assert "refused" in page
    assert "Do not make it so" in page


def test_what_cannot_be_read_is_refused(ask):
    response = ask("flumox the gribble")
    (answer,) = response.context["answers"]
    assert answer["kind"] == "stop"


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


def test_a_change_leads_nowhere_else(ask):
    (answer,) = ask("less sugar").context["answers"]
    assert answer["went_wrong"] is None
