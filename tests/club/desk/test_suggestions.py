"""What can be made of the fruit at hand: fresh and frozen, what spoils first in front, bounded in work."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse

from club.core.clock import club_day
from club.desk import suggestions
from club.desk.suggestions import FreshFruit, suggestions_for
from inventory.jars.services import kitchen_place
from tests.factories.freezer import make_freezer_item
from tests.factories.jars import make_jars
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import make_revision

pytestmark = pytest.mark.django_db
MAKE = "/make/"


@pytest.fixture
def cook():
    return make_person(name="Cook")


@pytest.fixture
def kitchen(cook):
    return make_kitchen(cook)


@pytest.fixture
def recipes():
    """One of plums; one of strawberries; one of apples."""
    return [
        make_revision(produce=[one], ingredients=pot(one), title=one) for one in ("plums", "strawberries", "apples")
    ]


def pot(fruit):
    return [
        {"item": fruit, "role": "fruit", "amount": "2", "unit": "lb"},
        {"item": "sugar", "role": "sugar", "amount": "3", "unit": "cup", "grams": "600", "grams_source": "leaflet"},
        {"item": "lemon juice", "prep": "bottled", "role": "acid", "amount": "1 1/2", "unit": "tbsp"},
    ]


def frozen(cook, kitchen, what="plums", *, days=100, **fields):
    return make_freezer_item(
        by=cook, kitchen=kitchen, what=what, frozen_on=club_day() - timedelta(days=days), now=None, **fields
    )


def make(cook, kitchen, *baskets, with_freezer=True):
    typed = [FreshFruit(*one) for one in baskets]
    return suggestions_for(cook, kitchen, typed, with_freezer=with_freezer, today=club_day())


def test_what_spoils_first_comes_first(cook, kitchen, recipes):
    frozen(cook, kitchen, "plums")
    found = make(cook, kitchen, ("apples", 4000), ("strawberries", 4000), ("plums", 4000))
    told = [(fruit.at_hand.produce, fruit.is_frozen) for fruit in found.fruits]
    assert told == [("strawberries", False), ("plums", False), ("apples", False), ("plums", True)]


def test_what_was_asked_comes_before_the_freezer_however_old_that_is(cook, kitchen, recipes):
    frozen(cook, kitchen, "plums", days=400)
    fruits = make(cook, kitchen, ("apples", 4000)).fruits
    assert [(fruit.at_hand.produce, fruit.is_past) for fruit in fruits] == [("apples", False), ("plums", True)]


def test_bags_of_the_same_fruit_are_one_heap_with_its_pots_jars_and_sugar(client, cook, kitchen, recipes):
    for _n in range(2):
        frozen(cook, kitchen, "plums", grams=1000)
    (fruit,) = make(cook, kitchen).fruits
    assert fruit.at_hand.grams == 2000
    ((fit, query),) = fruit.fits
    assert (fit.plan.pots, fit.asked) == (3, {"fruit": "2 kg"})  # of 907 g, each a little smaller than printed
    client.force_login(cook)
    page = client.get(MAKE).content.decode()
    assert f"{reverse('recipes:plan', args=[fit.recipe.slug])}?{query.replace('&', '&amp;')}" in page
    assert "half-pint" in page
    assert "sugar" in page


def test_anothers_freezer_is_not_counted_and_ones_own_can_be_left_out(cook, kitchen, recipes):
    other = make_person()
    frozen(other, make_kitchen(other), "plums")
    assert make(cook, kitchen).fruits == []
    frozen(cook, kitchen, "plums")
    assert make(cook, kitchen, with_freezer=False).fruits == []


def test_what_no_recipe_takes_and_what_has_sugar_in_it_is_said(client, cook, kitchen, recipes):
    frozen(cook, kitchen, "plums", with_sugar=True)
    found = make(cook, kitchen, ("medlars", 900))
    assert (found.fruits, found.unknown) == ([], ["medlars"])
    assert [one.what for one in found.sugared] == ["plums"]
    client.force_login(cook)
    page = client.get(MAKE, {"fruit_1": "medlars", "weight_1": "900"}).content.decode()
    assert "medlars" in page
    assert "without sugar" in page


def test_a_refusal_is_said_plainly(client, cook, kitchen, recipes):
    client.force_login(cook)
    page = client.get(MAKE, {"fruit_1": "plums", "weight_1": "200 g"}).content.decode()
    assert "The smallest pot that the test allows takes" in page


def test_a_kitchen_without_an_altitude_gives_no_plan(client, cook, recipes):
    nowhere = make_kitchen(cook, altitude="")
    client.force_login(cook)
    page = client.get(MAKE, {"kitchen": nowhere.pk, "fruit_1": "plums", "weight_1": "4 kg"})
    assert not any(fit.ok for fruit in page.context["suggestions"].fruits for fit, _query in fruit.fits)
    assert "has no altitude yet" in page.content.decode()


def test_half_filled_rows_are_refused_beside_their_field(client, cook, kitchen):
    client.force_login(cook)
    page = client.get(MAKE, {"fruit_1": "plums", "weight_2": "1 kg", "fruit_3": "figs", "weight_3": "3 cups"})
    assert set(page.context["form"].errors) == {"weight_1", "fruit_2", "weight_3"}
    assert "suggestions" not in page.context


def test_somebody_elses_kitchen_is_no_choice(client, cook, kitchen):
    client.force_login(cook)
    page = client.get(MAKE, {"kitchen": make_kitchen(make_person()).pk})
    assert page.context["form"].errors.get("kitchen")
    assert "suggestions" not in page.context


def test_the_empties_of_the_kitchen_are_told(cook, kitchen):
    make_jars(kitchen_place(kitchen), 9, size="pint")
    assert make(cook, kitchen).empties == [("pint", 9)]


def test_no_more_plans_are_made_than_are_allowed_and_the_rest_is_counted(cook, kitchen, recipes, monkeypatch):
    monkeypatch.setattr(suggestions, "MOST_PLANS", 1)
    fruits = make(cook, kitchen, ("strawberries", 4000), ("plums", 4000)).fruits
    assert [(len(fruit.fits), fruit.left_off) for fruit in fruits] == [(1, 0), (0, 1)]
    monkeypatch.setattr(suggestions, "MOST_FRUITS", 1)
    assert make(cook, kitchen, ("strawberries", 4000), ("plums", 4000)).fruits_left_off == 1


@pytest.mark.parametrize("count", [1, 30])
def test_the_page_asks_the_same_number_of_questions_for_one_lot_and_for_thirty(
    client, cook, kitchen, recipes, count, django_assert_max_num_queries
):
    for _n in range(count):
        frozen(cook, kitchen)
        make_revision()
    client.force_login(cook)
    with django_assert_max_num_queries(9):
        assert client.get(MAKE).status_code == 200


def test_nobody_and_wrong_methods_are_refused(client, cook):
    assert client.get(MAKE).status_code == 302
    client.force_login(cook)
    assert client.post(MAKE).status_code == 405
