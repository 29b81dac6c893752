"""The shopping list holds at least what the plan takes, in whole packages as they are sold."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.engine import PlanRequest, plan_batch
from recipes.engine.document import recipe_from_document
from recipes.engine.quantities import UNITS, Amount, convert
from recipes.engine.terms import Altitude, Canner, Pack, Role
from recipes.shopping import PACKAGES, fewest_packages, fruit_grams, shopping_list, shopping_list_of, shopping_together
from tests.recipes.engine.samples import snap_beans, strawberry_jam

F = Fraction
HOME = Altitude.from_feet(3412)
JAM = recipe_from_document(strawberry_jam())
BEANS = recipe_from_document(snap_beans())


def bought(recipe=JAM, units="metric", **wanted):
    return {each.item: each for each in shopping_list(plan_batch(recipe, PlanRequest(altitude=HOME, **wanted)), units)}


def with_line(item, role, amount, unit, **more):
    line = replace(JAM.ingredients[1], item=item, role=role, amount=F(amount), unit=unit, grams=None, **more)
    return replace(JAM, ingredients=(*JAM.ingredients, line))


@pytest.mark.parametrize(
    ("units", "need", "sugar"),
    [("metric", "2.8 kg", "1 × 2 kg bag, 1 × 1 kg bag"), ("us", "6.2 lb", "2 × 4 lb bag")],
)
def test_sugar_is_bought_by_the_bag_as_it_is_sold_here(units, need, sugar):
    found = bought(units=units, pots=2)["sugar"]
    assert (found.need, found.bought) == (need, sugar)


def test_pectin_is_bought_in_whole_boxes():
    assert (bought(pots=3)["liquid pectin"].need, bought(pots=3)["liquid pectin"].bought) == (
        "3 pouches",
        "2 × box of 2 pouches",
    )
    boxed = replace(JAM.ingredients[2], unit="box")
    powdered = replace(JAM, pectin="powdered", ingredients=(*JAM.ingredients[:2], boxed))
    assert bought(powdered, pots=3)["powdered pectin"].bought == "3 × 1 box"


def test_vinegar_and_bottled_juice_are_bought_in_whole_bottles():
    assert bought(with_line("white vinegar", Role.ACID, 5, "cup", prep="5 percent"), pots=1)[
        "white vinegar"
    ].bought == ("2 × 1 l bottle")
    juice = bought(with_line("lemon juice", Role.ACID, 2, "cup", prep="bottled"), units="us", pots=1)["lemon juice"]
    assert (juice.need, juice.bought) == ("2 cups", "2 × 15 fl oz bottle")


def test_every_full_jar_has_a_new_lid_and_none_is_bought_for_the_part_filled_one():
    found = bought(replace(JAM, stated_yield=replace(JAM.stated_yield, low=F(15, 2))), pots=2)
    assert (found["lids"].need, found["lids"].bought) == ("14", "2 × box of 12")
    assert found["bands"].optional


def test_produce_is_bought_by_weight_with_what_the_source_says_of_buying_it():
    berries = bought(pots=2)["strawberries"]
    assert (berries.need, berries.bought) == ("1.86 kg", "")
    assert berries.note == "as bought, for one whole pot: 2 quart boxes"
    assert bought(units="us", pots=2)["strawberries"].need == "4.1 lb"


def test_water_is_not_bought():
    assert "water" not in bought(with_line("water", Role.LIQUID, 1, "cup"), pots=1)


def test_two_lines_of_one_thing_are_bought_together():
    twice = bought(with_line("sugar", Role.SUGAR, 1, "cup", prep="for the syrup"), pots=1)
    assert twice["sugar"].grams == F(1600)


def test_brown_sugar_and_an_open_amount_are_bought_as_written():
    brown = bought(with_line("sugar", Role.SUGAR, 1, "cup", prep="brown, packed"), pots=1)
    assert brown["brown sugar"].bought == "1 × 1 kg bag"
    open_amount = bought(with_line("cloves", Role.SPICE, 1, "tsp", amount_high=F(2)), pots=1)
    assert open_amount["cloves"].need == "10 ml"


def test_what_may_be_left_out_says_so():
    found = bought(BEANS, pots=1, pack=Pack.HOT, canner=Canner.DIAL_GAUGE)
    assert found["salt"].optional
    assert not found["green beans"].optional


def test_a_refused_plan_without_amounts_has_nothing_to_buy():
    assert bought(pots=None) == {}


def test_every_way_of_selling_is_known_for_both_readers_smallest_first():
    for kind, packages in PACKAGES.items():
        assert set(packages) == {"metric", "us"}, kind
        for sizes in packages.values():
            held = [package.value * UNITS[package.unit].size for package in sizes]
            assert held == sorted(held), kind


@given(
    st.fractions(min_value=F(1, 100), max_value=F(200), max_denominator=100),
    st.lists(st.integers(1, 12), min_size=1, max_size=3, unique=True).map(sorted),
)
def test_packages_hold_the_need_and_no_smaller_set_does(need, sizes):
    sizes = [F(size) for size in sizes]
    counts = fewest_packages(need, sizes)
    held = sum(count * size for count, size in zip(counts, sizes, strict=True))
    assert held >= need
    # whatever is left out, it would not be enough
    for count, size in zip(counts, sizes, strict=True):
        assert not count or held - size < need


@given(st.integers(1, 60), st.sampled_from(["metric", "us"]))
def test_a_shopping_list_never_says_less_than_the_plan_takes(pots, units):
    made = plan_batch(JAM, PlanRequest(altitude=HOME, pots=pots))
    sugar = next(each for each in shopping_list(made, units) if each.item == "sugar")
    number, unit = sugar.need.split()
    assert convert(F(number), unit, "g") >= sum(
        line.grams or 0 for line in made.lines if line.ingredient.item == "sugar"
    )


def test_two_stations_share_one_list_and_pectin_is_boxed_over_both():
    three = [plan_batch(JAM, PlanRequest(altitude=HOME, pots=1)) for _ in range(3)]
    found = {each.item: each for each in shopping_list_of(three, "metric")}
    assert found == bought(pots=3)
    assert found["liquid pectin"].bought == "2 × box of 2 pouches"


@pytest.mark.parametrize(
    ("item", "have", "need"),
    [
        ("liquid pectin", Amount(F(1), "pouch"), "2 pouches"),
        ("lids", Amount(F(14), "each"), "10"),
        ("sugar", Amount(F(1), "kg"), "3.2 kg"),
        ("sugar", Amount(F(1), "l"), "3.355 kg"),  # 21 cups are 4.97 l and weigh 4.2 kg
        ("sugar", Amount(F(3), "bottle"), "4.2 kg"),  # nobody knows what is in those bottles
    ],
)
def test_what_is_there_is_taken_off_in_a_measure_that_is_known(item, have, need):
    three = [plan_batch(JAM, PlanRequest(altitude=HOME, pots=3))]
    found = {each.item: each.need for each in shopping_list_of(three, "metric", {item: have})}
    assert found[item] == need


def test_what_there_is_enough_of_is_not_on_the_list():
    made = plan_batch(JAM, PlanRequest(altitude=HOME, pots=3))
    left = shopping_list_of([made], "metric", {"lids": Amount(F(24), "each"), "sugar": Amount(F(10), "kg")})
    assert [each.item for each in left] == ["strawberries", "liquid pectin", "bands"]


def test_one_list_for_several_plans_counts_its_packages_on_the_sum():
    jam, beans = (
        plan_batch(JAM, PlanRequest(altitude=HOME, pots=1)),
        plan_batch(BEANS, PlanRequest(altitude=HOME, pots=1)),
    )
    together = {each.item: each for each in shopping_together([(jam, 3), (beans, 1)], "metric")}
    assert together["liquid pectin"].pieces == 3
    assert together["liquid pectin"].bought == "2 × box of 2 pouches"
    assert together["sugar"].grams == bought(pots=3)["sugar"].grams
    assert together["lids"].pieces == 3 * sum(jar.count for jar in jam.jars) + sum(jar.count for jar in beans.jars)
    assert {each.item for each in shopping_list(jam, "metric") + shopping_list(beans, "metric")} == together.keys()


def test_the_fruit_of_a_pot_is_its_weight_and_unknown_where_a_weight_is():
    assert fruit_grams(plan_batch(JAM, PlanRequest(altitude=HOME, pots=2))) == 2 * fruit_grams(
        plan_batch(JAM, PlanRequest(altitude=HOME, pots=1))
    )
    stranger = with_line("medlars of the moon", Role.FRUIT, 2, "cup")
    assert fruit_grams(plan_batch(stranger, PlanRequest(altitude=HOME, pots=1))) == 0
