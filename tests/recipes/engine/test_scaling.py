"""Pots are as many as needed and never bigger than the recipe's test allows; ratios hold."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.engine.document import recipe_from_document
from recipes.engine.quantities import Amount
from recipes.engine.rules import RULES
from recipes.engine.scaling import (
    MOST_POTS,
    Pots,
    amounts_for_pots,
    fruit_per_pot,
    fruit_printed,
    jars_per_pot,
    pots_as_asked,
    pots_for_fruit,
    pots_for_jars,
)
from recipes.engine.terms import PotLimits, Refusal, Role, Seen, StatedYield
from tests.recipes.engine.samples import snap_beans, strawberry_jam

F = Fraction
JAM = recipe_from_document(strawberry_jam())
BEANS = recipe_from_document(snap_beans())


def code(found) -> str:
    assert isinstance(found, Refusal), found
    assert found.source == RULES[found.rule].source
    return found.code


@pytest.mark.parametrize(("jars", "pots"), [(1, 1), (8, 1), (9, 2), (16, 2), (17, 3)])
def test_more_jars_means_more_pots_of_a_spread_and_never_a_bigger_one(jars, pots):
    assert pots_for_jars(JAM, jars, "half-pint") == Pots(pots, F(1))


def test_jars_of_another_size_go_by_volume():
    assert jars_per_pot(JAM, "pint") == 4
    assert pots_for_jars(JAM, 5, "pint") == Pots(2, F(1))


def test_half_filled_jars_of_two_pots_never_make_a_full_one():
    recipe = replace(JAM, stated_yield=replace(JAM.stated_yield, low=F(5)))
    assert pots_for_jars(recipe, 5, "pint") == Pots(3)  # each pot fills two, and half of a third
    scalable = replace(
        BEANS, pot_limits=PotLimits(F(1, 2), F(1)), stated_yield=StatedYield("quart", F(5), F(5), Seen.ONCE)
    )
    assert pots_for_jars(scalable, 7, "quart") == Pots(2, F(4, 5))


def test_a_jar_larger_than_the_pot_is_refused():
    recipe = replace(JAM, stated_yield=replace(JAM.stated_yield, low=F(3)))
    assert code(pots_for_jars(recipe, 1, "quart")) == "jar-larger-than-pot"


def test_jars_are_planned_from_the_low_end_of_the_yield():
    recipe = replace(JAM, stated_yield=StatedYield("half-pint", F(8), F(10), Seen.ONCE))
    assert pots_for_jars(recipe, 9, "half-pint") == Pots(2, F(1))


@pytest.mark.parametrize(
    ("quarts", "pots"),
    [(1, Pots(1, F(1, 7))), (5, Pots(1, F(5, 7))), (7, Pots(1, F(1))), (10, Pots(2, F(5, 7))), (15, Pots(3, F(5, 7)))],
)
def test_canner_loads_of_single_jars_scale_in_their_steps(quarts, pots):
    assert pots_for_jars(BEANS, quarts, "quart") == pots


def test_a_yield_that_was_not_seen_promises_no_jars():
    recipe = replace(JAM, stated_yield=replace(JAM.stated_yield, seen=Seen.SUSPECT))
    assert code(pots_for_jars(recipe, 4, "half-pint")) == "yield-not-seen"
    assert pots_as_asked(2) == Pots(2)


@pytest.mark.parametrize("wanted", [0, -1, 1.5, True, "3", None])
def test_a_number_of_pots_or_jars_that_is_no_count_is_refused(wanted):
    assert code(pots_as_asked(wanted)) == "wish-not-positive"
    assert code(pots_for_jars(JAM, wanted, "half-pint")) == "wish-not-positive"


@pytest.mark.parametrize("jars", [8 * MOST_POTS + 1, 10**300])
def test_more_pots_than_a_day_holds_are_refused(jars):
    assert code(pots_for_jars(JAM, jars, "half-pint")) == "too-many-pots"
    assert code(pots_as_asked(jars)) == "too-many-pots"


def test_fruit_fills_whole_pots_and_the_rest_is_left_over():
    found = pots_for_fruit(JAM, Amount(F(2), "kg"))
    assert found == Pots(2, F(1), Amount(F("0.144"), "kg"))  # 928 g a pot
    assert pots_for_fruit(JAM, Amount(F(8), "cup")) == Pots(2, F(1), None)
    assert pots_for_fruit(JAM, Amount(F(1), "quart")) == Pots(1, F(1), None)


def test_less_fruit_than_the_smallest_pot_is_refused_with_what_one_takes():
    found = pots_for_fruit(JAM, Amount(F(900), "g"))
    assert code(found) == "fruit-too-little"
    assert "928 g" in found.message
    for value in (F(0), F(-3)):
        assert code(pots_for_fruit(JAM, Amount(value, "g"))) == "fruit-too-little"


def test_fruit_for_single_jars_uses_as_much_as_it_can():
    assert pots_for_fruit(BEANS, Amount(F(5), "lb")) == Pots(1, F(2, 7), Amount(F(1), "lb"))
    assert pots_for_fruit(BEANS, Amount(F(20), "lb")) == Pots(2, F(5, 7), None)
    assert code(pots_for_fruit(BEANS, Amount(F(1), "lb"))) == "fruit-too-little"


def test_fruit_that_cannot_be_compared_is_refused():
    no_weight = replace(JAM, ingredients=(replace(JAM.ingredients[0], grams=None), *JAM.ingredients[1:]))
    found = pots_for_fruit(no_weight, Amount(F(2), "kg"))
    assert code(found) == "fruit-not-comparable"
    assert "4 cups strawberries, crushed" in found.message
    assert code(pots_for_fruit(JAM, Amount(F(2), "blorp"))) == "fruit-not-comparable"
    assert code(pots_for_fruit(BEANS, Amount(F(2), "cup"))) == "fruit-not-comparable"


def test_the_produce_is_told_from_the_other_vegetables_by_name():
    onion = replace(BEANS.ingredients[0], item="onions", amount=F(1))
    recipe = replace(BEANS, ingredients=(*BEANS.ingredients, onion))
    assert fruit_per_pot(recipe, "lb") == 14
    assert [str(said) for said in fruit_printed(recipe)] == ["14 lb green beans, 1-inch pieces"]


def test_pectin_in_packets_holds_the_pot_to_its_printed_size():
    loose = replace(JAM, pot_limits=PotLimits(F(1, 2), F(2)))
    assert pots_for_jars(loose, 4, "half-pint") == Pots(1, F(1))
    assert pots_for_jars(loose, 16, "half-pint") == Pots(2, F(1))


def test_a_range_keeps_both_its_ends():
    ranged = replace(JAM.ingredients[1], role=Role.ACID, amount=F(2), amount_high=F(3), unit="tbsp")
    line = amounts_for_pots(replace(JAM, ingredients=(ranged,)), Pots(2))[0]
    assert (line.amount, line.amount_high) == (4, 6)
    assert line.text_per_pot == "2 tbsp to 3 tbsp"


def test_a_line_is_measured_for_one_pot_and_counted_over_all():
    berries, sugar, pectin = amounts_for_pots(JAM, Pots(3))
    assert (sugar.amount, sugar.amount_per_pot, sugar.text, sugar.text_per_pot) == (21, 7, "21 cups", "7 cups")
    assert berries.grams == 3 * 928
    assert (pectin.amount, pectin.text) == (3, "3 pouches")


scales = st.fractions(min_value=F(1, 4), max_value=F(3), max_denominator=12)


@given(st.integers(min_value=1, max_value=MOST_POTS), scales)
def test_scaling_keeps_ratios_but_for_the_rounding_it_shows(count, scale):
    for line in amounts_for_pots(JAM, Pots(count, scale)):
        exact = line.ingredient.amount * count * scale
        assert line.amount == exact * (1 + line.rounding_error_pct / 100)
        assert line.amount == line.amount_per_pot * count


limits = st.tuples(
    st.integers(min_value=1, max_value=8), st.integers(min_value=0, max_value=8), st.integers(min_value=1, max_value=8)
).map(lambda t: PotLimits(F(min(t[0], t[2]), t[2]), F(t[2] + t[1], t[2]), F(1, t[2])))


@given(limits, st.integers(min_value=1, max_value=60))
def test_pots_for_jars_fill_the_jars_within_the_limits_of_the_test(pot_limits, quarts):
    recipe = replace(BEANS, pot_limits=pot_limits)
    pots = pots_for_jars(recipe, quarts, "quart")
    assert isinstance(pots, Pots)
    assert pots.total * 7 >= quarts
    assert pot_limits.smallest <= pots.scale <= pot_limits.largest
    assert (pots.scale / pot_limits.step).denominator == 1


@given(limits, st.fractions(min_value=F(1, 10), max_value=600, max_denominator=50))
def test_pots_for_fruit_never_take_more_than_there_is(pot_limits, pounds):
    recipe = replace(BEANS, pot_limits=pot_limits)
    pots = pots_for_fruit(recipe, Amount(pounds, "lb"))
    if isinstance(pots, Refusal):
        assert pounds < 14 * pot_limits.smallest
        return
    spare = pots.spare_fruit.value if pots.spare_fruit else 0
    assert pots.total * 14 + spare == pounds
    assert pot_limits.smallest <= pots.scale <= pot_limits.largest
