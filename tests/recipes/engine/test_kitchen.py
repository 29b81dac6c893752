"""Rounding moves an amount only the way its role allows, and never further than it must."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from recipes.engine.quantities import (
    TOLERANCE,
    TOLERANCE_BY_ROLE,
    UNITS,
    ConversionError,
    parse_amount,
    round_for_kitchen,
)
from recipes.engine.terms import Role

F = Fraction
amounts = st.fractions(min_value=F(1, 100), max_value=2000, max_denominator=500)
units = st.sampled_from(sorted(UNITS))
roles = st.sampled_from(list(Role))
SCOOPED = ["tsp", "tbsp", "fl-oz", "cup", "pint", "quart", "gallon"]


@given(amounts, units)
def test_acid_is_never_rounded_down(value, unit):
    rounded = round_for_kitchen(value, unit, Role.ACID)
    assert rounded.value >= value
    assert rounded.error_pct >= 0


@given(amounts, units)
def test_a_low_acid_vegetable_is_never_rounded_up(value, unit):
    rounded = round_for_kitchen(value, unit, Role.LOW_ACID)
    assert 0 <= rounded.value <= value
    assert rounded.error_pct <= 0


@given(amounts, units, roles)
def test_nothing_but_a_low_acid_trace_is_rounded_away(value, unit, role):
    rounded = round_for_kitchen(value, unit, role)
    assert rounded.value > 0 or (role is Role.LOW_ACID and rounded.text == "leave out")


@given(amounts, st.sampled_from(["box", "pouch", "packet"]))
def test_pectin_goes_by_whole_packets(value, unit):
    assert round_for_kitchen(value, unit, Role.PECTIN).value.denominator == 1


@given(amounts, st.sampled_from([*SCOOPED, "g", "kg", "lb", "oz", "ml", "l"]), roles)
@example(F(88, 351), "lb", Role.ACID)  # a trace over 4 oz: 4 1/4 oz
def test_the_error_shown_is_the_error_made_and_is_small_above_a_few_spoons(value, unit, role):
    rounded = round_for_kitchen(value, unit, role)
    assert rounded.error_pct == (rounded.value - value) / value * 100
    big_enough = value * UNITS[unit].size >= 50
    slack = max(TOLERANCE_BY_ROLE.get(role, TOLERANCE), F(5, 100)) * 100
    step = UNITS["oz"].size / 4 if unit in ("oz", "lb") else 5
    within_a_step = abs(rounded.value - value) * UNITS[unit].size <= step  # acid goes up by a whole one at most
    assert not big_enough or within_a_step or abs(rounded.error_pct) <= slack


@given(amounts, st.sampled_from([*SCOOPED, "lb", "oz", "g", "ml", "box"]), roles)
def test_the_words_measure_out_the_value(value, unit, role):
    rounded = round_for_kitchen(value, unit, role)
    if rounded.value:
        said = parse_amount(rounded.text)
        assert said.value * UNITS[said.unit].size == rounded.value * UNITS[unit].size


# Amounts as recipes print them: whole, half, third and quarter cups; halves and quarters of spoons and pounds.
PRINTED = [
    *((F(n, d), unit) for n in (1, 3, 7, 9, 18, 33) for d in (1, 2, 3, 4) for unit in ("cup", "quart", "pint")),
    *((F(n, 4), unit) for n in (1, 2, 3, 6, 14) for unit in ("tsp", "tbsp", "lb", "oz", "each")),
    *((F(n), "g") for n in (3, 42, 55, 900)),
    (F(7, 8), "cup"),
    (F(14), "tbsp"),
    (F(6), "fl-oz"),
    (F(1, 8), "tsp"),
    (F(5, 16), "cup"),
]


@pytest.mark.parametrize(("value", "unit"), PRINTED, ids=str)
def test_a_printed_amount_that_can_be_measured_stays_as_it_is(value, unit):
    for role in Role:
        if role is not Role.PECTIN:
            assert round_for_kitchen(value, unit, role).value == value


@pytest.mark.parametrize(
    ("value", "unit", "role", "text"),
    [
        (F(35, 16), "cup", Role.SUGAR, "2 cups + 3 tbsp"),
        (F(31, 7), "cup", Role.SUGAR, "4 1/2 cups"),
        (F(42), "tbsp", Role.ACID, "2 1/2 cups + 2 tbsp"),
        (F(7), "tsp", Role.SALT, "2 tbsp + 1 tsp"),
        (F(3, 8), "tsp", Role.SPICE, "1/4 tsp + 1/8 tsp"),
        (F(50, 7), "lb", Role.FRUIT, "7 lb 2 1/2 oz"),
        (F(35, 2), "lb", Role.FRUIT, "17 1/2 lb"),
        (F(13, 4), "quart", Role.FRUIT, "3 quarts + 1 cup"),
        (F(928), "g", Role.FRUIT, "930 g"),
        (F(926), "g", Role.ACID, "930 g"),
        (F(929), "g", Role.LOW_ACID, "925 g"),
        (F(3, 2), "box", Role.PECTIN, "2 boxes"),
        (F(10, 3), "each", Role.LOW_ACID, "3 1/4"),
        (F(1, 10), "each", Role.LOW_ACID, "leave out"),
        (F(1, 50), "tsp", Role.SPICE, "1/8 tsp"),
        (F(0), "cup", Role.SPICE, "none"),
        (F(2), "metric-cup", Role.LIQUID, "500 ml"),
    ],
)
def test_amounts_are_said_in_the_fewest_scoops(value, unit, role, text):
    assert round_for_kitchen(value, unit, role).text == text


def test_an_unknown_unit_is_refused():
    with pytest.raises(ConversionError):
        round_for_kitchen(F(1), "blorp", Role.SUGAR)
