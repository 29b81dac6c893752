"""Which recipes fit a fruit at hand: how many pots, what else they take, and what is refused in plain words."""

from __future__ import annotations

from copy import deepcopy
from fractions import Fraction as F

import pytest
from django.http import QueryDict

from inventory.fruit.suggestions import AtHand, fit_of, fits, produce_named, revisions_with
from recipes.engine.quantities import Amount
from recipes.engine.terms import Altitude
from recipes.forms.plans import PlanForm
from recipes.models import RevisionState
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import SPREAD, VEGETABLE, make_revision

HILL = Altitude(metres=1040)


def fruit(item, amount="4", unit="cup", **fields):
    return {"item": item, "role": "fruit", "amount": amount, "unit": unit, **fields}


def spread(*fruits, **changes):
    """The invented spread with other fruit in it."""
    return make_revision(ingredients=[*fruits, *deepcopy(SPREAD["ingredients"][1:])], **changes)


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("plums", "plums"),
        ("Damson PLUM, halved", "plums"),
        ("sour cherries", "cherries"),
        ("green tomatoes", "green tomatoes"),
        ("tomato", "tomatoes"),
        ("a peach", "peaches"),
        ("plumb line", ""),
        ("", ""),
    ],
)
def test_what_people_write_leads_to_the_recipes_own_word(text, word):
    known = ["plums", "cherries", "tomatoes", "green tomatoes", "peaches"]
    assert produce_named(text, known) == word


pytestmark = pytest.mark.django_db


def test_a_recipe_that_prints_a_weight_is_planned_by_the_fruit_itself():
    revision = spread(fruit("plums", "2", "lb"))
    found = fit_of(AtHand("plums", 4000), revision, HILL)
    assert found.ok
    assert not found.is_estimate
    assert found.plan.pots == 5  # 4,000 g of 907 g a pot: smaller pots use more of it
    assert found.asked["fruit"] == "4 kg"


def test_a_recipe_in_cups_is_planned_in_whole_pots_by_the_heavy_end_of_a_cup_and_says_so():
    found = fit_of(AtHand("plums", 4000), make_revision(), HILL)
    assert found.ok
    assert found.is_estimate
    assert found.plan.pots >= 1
    assert set(found.asked) == {"pots"}
    fewer = fit_of(AtHand("plums", 300), make_revision(), HILL)
    assert [one.code for one in fewer.refusals] == ["fruit-too-little"]
    assert "300 g" in fewer.refusals[0].message


def test_a_fruit_whose_measure_weighs_nobody_knows_what_is_refused():
    found = fit_of(AtHand("medlars", 4000), spread(fruit("medlars", "3", "each"), produce=["medlars"]), HILL)
    assert [one.code for one in found.refusals] == ["fruit-not-comparable"]


def test_whole_fruit_is_no_juice_and_juice_is_no_whole_fruit():
    jelly = spread(fruit("plum juice"))
    assert [one.code for one in fit_of(AtHand("plums", 4000), jelly, HILL).refusals] == ["fruit-taken-as-juice"]
    assert fit_of(AtHand("plums", 4000, "juice"), jelly, HILL).ok
    assert fit_of(AtHand("plums", 4000, "juice"), make_revision(), HILL) is None
    assert fit_of(AtHand("plums", 4000), spread(fruit("plum juice concentrate")), HILL) is None


def test_a_puree_serves_only_where_the_fruit_is_crushed():
    crushed = spread(fruit("plums", prep="crushed"))
    assert fit_of(AtHand("plums", 4000, "puree"), crushed, HILL).ok
    assert fit_of(AtHand("plums", 4000, "puree"), make_revision(), HILL) is None


def test_other_produce_of_a_recipe_is_named():
    mixed = spread(fruit("plums", "2", "lb"), fruit("apples", "1", "lb"), produce=["plums", "apples"])
    found = fit_of(AtHand("plums", 2000), mixed, HILL)
    assert found.also == ("apples",)
    assert found.plan.pots == 2


def test_the_onion_of_a_salsa_is_not_what_it_is_measured_by():
    onions = {"item": "onions", "prep": "chopped", "role": "low-acid vegetable", "amount": "2", "unit": "cup"}
    salsa = spread(fruit("tomatoes", "5", "lb"), onions, produce=["tomatoes", "onions"])
    assert fit_of(AtHand("onions", 9000), salsa, HILL) is None
    found = fit_of(AtHand("tomatoes", 9000), salsa, HILL)
    assert (found.also, found.is_estimate, found.asked["fruit"]) == (("onions",), False, "9 kg")


def test_green_tomatoes_are_not_counted_as_tomatoes():
    both = [fruit("green tomatoes", "2", "lb"), fruit("ripe tomatoes", "1", "lb")]
    chow = spread(*both, produce=["green tomatoes", "tomatoes"])
    found = fit_of(AtHand("tomatoes", 1400), chow, HILL)
    assert found.also == ("green tomatoes",)
    assert found.plan.pots == 3  # a pound, 454 g, of ripe ones each


def test_berries_are_any_of_the_recipes_berries():
    berries = spread(fruit("berries", "2", "lb"), produce=["raspberries", "blackberries"])
    either = spread(fruit("blackberries or raspberries", "2", "lb"), produce=["raspberries", "blackberries"])
    for revision in (berries, either):
        assert fit_of(AtHand("raspberries", 4000), revision, HILL).plan.pots == 5


def test_thawed_fruit_is_cooked_through_and_not_packed_in_pieces():
    halves, jam = spread(fruit("plums", "2", "lb"), kind="fruit"), spread(fruit("plums", "2", "lb"))
    told = spread(fruit("plums", "2", "lb"), kind="fruit", steps=["Do not use frozen plums: they pack too tightly."])
    frozen = AtHand("plums", 4000, is_frozen=True)
    for packed in (halves, told):
        assert [one.code for one in fit_of(frozen, packed, HILL).refusals] == ["thawed-not-tested"]
    assert fit_of(AtHand("plums", 4000), halves, HILL).ok
    assert fit_of(frozen, jam, HILL).ok


def test_of_a_mixture_nobody_guesses_the_shares():
    mixed = spread(fruit("grape-plum juice"), produce=["grapes", "plums"])
    found = fit_of(AtHand("plums", 4000, "juice"), mixed, HILL)
    assert [one.code for one in found.refusals] == ["fruit-in-a-mixture"]


def test_without_an_altitude_there_is_a_refusal_and_no_process():
    found = fit_of(AtHand("plums", 4000), make_revision(), None)
    assert not found.ok
    assert found.plan.process is None


def test_where_the_table_leaves_a_choice_the_hot_pack_is_taken_and_told():
    beans = fit_of(AtHand("beans", 9000), make_revision(base=VEGETABLE), HILL)
    assert beans.ok
    assert beans.asked["pack"] == "hot"
    assert beans.asked["canner"]


def test_only_published_recipes_with_the_produce_are_asked(django_assert_num_queries):
    one = make_revision()
    make_revision(state=RevisionState.WITHDRAWN)
    make_revision(produce=["apples"])
    with django_assert_num_queries(1):
        assert revisions_with(["plums"]) == [one]
    with django_assert_num_queries(0):
        assert revisions_with([]) == []


def test_what_can_be_made_comes_first():
    make_revision(title="A jelly", ingredients=[fruit("plum juice"), *SPREAD["ingredients"][1:]])
    make_revision(title="Z jam")
    titles = [one.recipe.title for one in fits(AtHand("plums", 4000), revisions_with(["plums"]), HILL)]
    assert titles == ["Z jam", "A jelly"]


@pytest.mark.parametrize("base", [SPREAD, VEGETABLE])
def test_the_plan_page_makes_the_same_plan_of_the_address(base):
    cook = make_person()
    kitchen, revision = make_kitchen(cook), make_revision(base=base)
    found = fit_of(AtHand(revision.tested.produce[0], 9000), revision, kitchen.altitude)
    form = PlanForm(QueryDict(found.query(kitchen.pk)), user=cook, recipe=revision.tested)
    assert form.is_valid(), form.errors
    assert (
        form.plan_input["pots"] == int(found.asked["pots"])
        if "pots" in found.asked
        else form.plan_input["fruit"] == Amount(F(9), "kg")
    )
