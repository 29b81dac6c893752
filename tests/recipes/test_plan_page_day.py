"""The plan page beyond amounts and process: yield, jars at hand, loads, the day, what to buy and what it costs."""

from __future__ import annotations

import html
import re
from urllib.parse import parse_qs

import pytest
from django.urls import reverse

from inventory.batches.services import batch_start
from recipes.choices import HAND_TASKS
from recipes.engine.handwork import TASKS
from recipes.planning import read_plan_input
from tests.factories.prices import make_price
from tests.factories.recipes import SPREAD, make_revision, make_spread_with_pectin

pytestmark = pytest.mark.django_db

PLAN = "/recipes/test-spread/plan/"


@pytest.fixture
def kitchen(member, make_kitchen):
    return make_kitchen(member, altitude_m="1040")


@pytest.fixture
def ask(client, member, kitchen):
    client.force_login(member)
    make_revision(slug="test-spread")

    def ask(_path=PLAN, **query):
        return client.get(_path, {"kitchen": kitchen.pk, "pots": "2", **query})

    return ask


def words(response) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


def test_yield_by_weight_is_shown_with_its_reach_brix_and_basis(ask):
    response = ask()
    said = words(response)
    for text in (response.context["yields"].jars_a_pot, response.context["yields"].brix, "By weight", "source states"):
        assert text
        assert text in said


def test_a_yield_that_only_the_source_tells_says_why(ask):
    endless = make_spread_with_pectin().recipe
    said = words(ask(reverse("recipes:plan", args=[endless.slug]), pots="1"))
    assert "only its own yield is known" in said
    assert "Degrees Brix" not in said


def test_empties_choose_the_jars_and_the_fold_stays_open(ask):
    response = ask(**{"empty_pint": "4", "empty_half-pint": "3"})
    assert {jar.size: jar.count for jar in response.context["plan"].jars} == {"pint": 4, "half-pint": 2}
    page = response.content.decode()
    assert 'name="empty_pint" value="4"' in page
    assert re.search(r'<details class="fold" open>\s*<summary>Empty jars at hand', page)


def test_the_sizes_asked_for_go_up_to_the_largest_tested(ask):
    page = ask().content.decode()
    assert 'name="empty_quarter-pint"' in page
    assert 'name="empty_pint"' in page
    assert 'name="empty_quart"' not in page


@pytest.mark.parametrize(
    ("query", "field"),
    [
        ({"empty_pint": "some"}, "empty_pint"),
        ({"empty_pint": "-1"}, "empty_pint"),
        ({"empty_pint": "1000"}, "empty_pint"),
        ({"empty_pint": "²"}, "empty_pint"),
        ({"burners": "x"}, "burners"),
        ({"cooks": "100"}, "cooks"),
        ({"stove": "coal"}, "stove"),
        ({"capacity": "huge"}, "capacity"),
        ({"capacity": "pint=9"}, "capacity"),
        ({"finish": "teatime"}, "finish"),
    ],
)
def test_what_is_wrong_about_jars_or_gear_is_said_beside_its_field(ask, query, field):
    response = ask(**query)
    assert set(response.context["form"].errors) == {field}
    assert f'id="error_1_id_{field}"' in response.content.decode()


def test_more_than_a_days_loads_are_refused_with_what_to_do(ask):
    response = ask(pots="60", jar="half-pint", capacity="4 quart")
    assert [refusal.code for refusal in response.context["plan"].refusals] == []
    response = ask(pots="60", jar="quarter-pint", capacity="4 quart")
    assert [(one.code, one.rule) for one in response.context["plan"].refusals] == [("several-days", "ONE-DAY")]
    page = response.content.decode()
    assert "Plan a part of it" in page
    assert "ONE-DAY" not in page  # a code says nothing to a cook
    assert "Start this batch" not in page


def test_a_lack_of_gear_that_was_named_is_a_refusal_with_its_rule(ask):
    response = ask(burners="0")
    assert [(one.code, one.rule) for one in response.context["plan"].refusals] == [("no-burner", "BURNER-EACH")]
    page = response.content.decode()
    assert "BURNER-EACH" not in page
    assert "kh-timeline" not in page
    assert "Start this batch" not in page


def test_the_day_is_a_picture_with_its_steps_in_a_table_and_no_style_of_its_own(ask):
    response = ask(finish="16:30")
    page = response.content.decode()
    start = page.index('class="kh-timeline"')
    svg = page[page.rindex("<svg", 0, start) : page.index("</svg>", start)]
    assert 'role="img"' in svg
    assert " style=" not in svg
    assert "<style" not in svg
    rows = re.findall(r"<th scope=\"row\">(\d\d:\d\d)–(\d\d:\d\d) ([^<]+)</th>", page)
    assert len(rows) == len(response.context["plan"].day.steps)
    assert rows[-1][1:] == ("16:30", "lift jars out")


def test_every_load_says_its_jars_and_its_process(ask):
    loads = ask().context["loads"]
    assert [(load.pot, load.process) for load in loads] == [(1, "10 minutes"), (2, "10 minutes")]


def test_jars_that_are_not_processed_alike_are_named_beside_the_longest_time(ask):
    slower = [SPREAD["process"][0], {**SPREAD["process"][1], "minutes": [[1000, 8], ["above", 20]]}]
    make_revision(slug="uneven", process=slower)
    response = ask("/recipes/uneven/plan/", **{"empty_pint": "2", "empty_half-pint": "9", "canners": "2"})
    said = words(response)
    assert response.context["process"].minutes == "20 minutes"
    assert "not processed alike" in said
    assert "half-pint (237 ml): 10 minutes" in said


def test_the_batch_is_started_from_the_very_plan_with_its_jars(ask, member, kitchen):
    response = ask(**{"empty_pint": "4", "empty_half-pint": "3", "finish": "12:00"})
    query = {key: value for key, (value,) in parse_qs(response.context["start_query"]).items()}
    assert query["empties"] == "half-pint=3,pint=4"
    revision = response.context["revision"]
    batch = batch_start(
        by=member,
        revision=revision,
        kitchen=kitchen,
        token="a8098c1a-f86e-11da-bd1a-00112444be1e",
        **read_plan_input(query),
    )
    assert batch.jar_size == "pint"
    assert batch.plan["jars"] == [{"size": "pint", "count": 4}, {"size": "half-pint", "count": 2}]
    assert batch.plan["timeline"][-1]["ends"] == "12:00"


def test_what_to_buy_is_in_the_readers_units(ask, member):
    assert "1.2 kg" in words(ask())
    member.units = "us"
    member.save()
    assert "2.7 lb" in words(ask())


def test_costs_are_shown_where_known_and_the_rest_is_named(ask, make_person):
    keeper = make_person("keeper")
    make_price(by=keeper, item="sugar", package="2 kg", cents=500)
    cost = ask().context["cost"]
    assert (cost.total, cost.parts) == ("3.00", (("sugar", "3.00"),))
    assert set(cost.unknown) == {"plums", "lemon juice", "lids"}
    assert cost.jars == (("half-pint (237 ml)", "0.30"),)
    said = words(ask())
    assert "their price is not known: plums, lemon juice, lids" in said


def test_without_any_price_no_cost_is_guessed(ask):
    cost = ask().context["cost"]
    assert (cost.total, cost.jars) == ("", ())
    assert "In all, for what is used" not in words(ask())


@pytest.mark.parametrize("rows", [1, 30])
def test_the_page_asks_as_often_with_one_price_as_with_thirty(ask, make_person, rows, django_assert_max_num_queries):
    keeper = make_person("keeper")
    for number in range(rows):
        make_price(by=keeper, item="sugar" if number == 0 else f"thing {number}")
    with django_assert_max_num_queries(14):
        assert ask().context["cost"].total


def test_hand_work_is_told_with_its_cooks_its_reach_and_its_source(ask):
    page = ask(cooks="2")
    (line, *_rest) = page.context["hands"].lines
    assert line.what.startswith("wash")
    assert re.search(r"(kg|lb) ", line.what)
    assert re.fullmatch(r"\d+ to \d+ min", line.how_long)
    assert page.context["hands"].cooks == 2
    assert "2 cooks side by side" in words(page)
    assert "common practice, no source" in words(page)


def test_every_task_of_the_hands_has_its_word():
    assert set(HAND_TASKS) == set(TASKS)
