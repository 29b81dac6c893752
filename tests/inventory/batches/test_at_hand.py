"""What a plan needs before it begins, beside what the kitchen's books say: jars first, then lids, canner and acid."""

from __future__ import annotations

from urllib.parse import parse_qs, urlsplit

import pytest
from django.urls import reverse

from inventory.jars import services as jars
from inventory.jars.models import LidStock
from recipes.engine.document import recipe_to_document
from tests.factories.equipment import make_thing
from tests.factories.jars import make_jars, make_lid_lot
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import VEGETABLE, make_revision
from tests.published.library import recipes

pytestmark = pytest.mark.django_db

BEANS = {"jars": "9", "pack": "hot", "canner": "dial-gauge"}


@pytest.fixture
def cook():
    return make_person()


@pytest.fixture
def kitchen(cook):
    return make_kitchen(cook)


@pytest.fixture
def plan(cook, kitchen, sign_in):
    """The page of a plan in the cook's kitchen."""
    client = sign_in(cook)
    return lambda revision, **wanted: client.get(
        reverse("recipes:plan", args=[revision.recipe.slug]), {"kitchen": kitchen.pk, **wanted}
    )


def sizes(page):
    return [(jar.size, jar.count) for jar in page.context["plan"].jars]


def named(rows):
    return " | ".join(f"{one.what}: {one.lacks or one.have}" for one in rows)


def test_the_jars_of_the_kitchen_are_planned_and_what_is_short_is_to_buy(plan, kitchen):
    beans = make_revision(base=VEGETABLE, slug="beans")
    as_printed = plan(beans, **BEANS)
    ((printed_size, printed),) = sizes(as_printed)
    assert f"{printed} to buy or borrow" in named(as_printed.context["missing"])
    other = "pint" if printed_size == "quart" else "quart"
    make_jars(jars.kitchen_place(kitchen), 4, size=other)
    page = plan(beans, **BEANS)
    ((size, count),) = sizes(page)
    assert size == other
    assert f"{count - 4} to buy or borrow" in named(page.context["missing"])
    start = parse_qs(urlsplit("?" + page.context["start_query"]).query)
    assert start["jar"] == [other]
    assert sizes(plan(beans, jar=printed_size, **BEANS)) == [(printed_size, printed)]  # what somebody names stays


def test_a_jar_that_no_table_has_is_never_planned_for_being_there(plan, kitchen):
    beans = make_revision(base=VEGETABLE, slug="beans")
    printed = sizes(plan(beans, **BEANS))
    make_jars(jars.kitchen_place(kitchen), 40, size="half-gallon")
    assert sizes(plan(beans, **BEANS)) == printed


def test_a_canner_of_ones_own_is_there_and_one_to_borrow_is_not_yet(plan, cook, kitchen):
    beans = make_revision(base=VEGETABLE, slug="beans")
    assert "have one" in named(plan(beans, **BEANS).context["missing"])
    thing = make_thing("dial-gauge-canner")
    assert "hold one" in named(plan(beans, **BEANS).context["missing"])
    type(thing).everything.filter(pk=thing.pk).update(household=kitchen)
    page = plan(beans, **BEANS)
    assert thing.code in named(page.context["there"])


def test_acid_that_nobody_noted_is_missing_and_lids_are_counted(plan):
    page = plan(make_revision(), pots="1")
    said = named(page.context["missing"])
    assert "lemon juice: buy it, and read its strength" in said
    lot = make_lid_lot()
    LidStock.objects.create(lot=lot, bought=500, on_hand=500)
    assert "the club has 500" in named(plan(make_revision(), pots="1").context["there"])


def test_what_only_the_cold_keeps_asks_for_no_lids(plan):
    page = plan(make_revision(base=recipe_to_document(recipes()["refrigerated-apple-spread"])), pots="1")
    assert page.context["plan"].jars
    assert "lid" not in named([*page.context["missing"], *page.context["there"]])
