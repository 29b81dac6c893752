"""Amounts are read as cooks write them, and what could mean two things is refused."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.engine.quantities import (
    JAR_ML,
    JAR_SIZES,
    UNITS,
    AmountError,
    ConversionError,
    convert,
    format_amount,
    parse_amount,
)

F = Fraction


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("2 1/4 c", F(9, 4), "cup"),
        ("2¼ cups", F(9, 4), "cup"),
        ("2 ¼ Cups", F(9, 4), "cup"),
        ("¾ cup", F(3, 4), "cup"),
        ("1⁄2 cup", F(1, 2), "cup"),
        ("1-1/2 cups", F(3, 2), "cup"),
        (".5 cup", F(1, 2), "cup"),
        ("1,5 kg", F(3, 2), "kg"),
        ("1.5kg", F(3, 2), "kg"),
        ("3 lb 4 oz", F(13, 4), "lb"),
        ("3 lb. 4 oz.", F(13, 4), "lb"),
        ("2 cups + 3 tbsp", F(35, 16), "cup"),
        ("2 cups and 3 tbsp", F(35, 16), "cup"),
        ("1,040 g", F(1040), "g"),
        ("1 040 g", F(1040), "g"),
        ("2 T", F(2), "tbsp"),
        ("2 t", F(2), "tsp"),
        ("6 fl. oz.", F(6), "fl-oz"),
        ("6 fl-oz", F(6), "fl-oz"),
        ("2 metric cups", F(2), "metric-cup"),
        ("2 imperial cups", F(2), "imperial-cup"),
        ("3 each", F(3), "each"),
        ("1 pouch", F(1), "pouch"),
        ("2 boxes", F(2), "box"),
        ("2 litres", F(2), "l"),
        ("４.５ kg", F(9, 2), "kg"),
    ],
)
def test_an_amount_is_read_as_it_is_written(text, value, unit):
    amount = parse_amount(text)
    assert (amount.value, amount.unit) == (value, unit)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "Write an amount"),
        ("a pinch", "cannot be measured"),
        ("salt to taste", "cannot be measured"),
        ("3", "no unit"),
        ("2 cups 3", "no unit"),
        ("1,250 kg", "could be 1250 or 1.250"),
        ("4-6 lb", "no ranges"),
        ("4–6 lb", "no ranges"),
        ("1-3/2 cups", "range"),
        ("1/0 cup", "cannot have 0"),
        ("0 cups", "more than nothing"),
        ("-2 cups", "not an amount"),
        ("2 lb 3 cups", "mixes things"),
        ("1 box 2 pouches", "mixes things"),
        ("2 blorps", "not a unit we know"),
        ("two cups", "not an amount"),
        ("1..2 cups", "not a number"),
        ("1,2,3 g", "not a number"),
        ("٣ g", "not an amount"),
        ("9" * 40 + " g", "more than any kitchen"),
        ("9" * 90 + " g", "too long"),
        ("<b>2</b> cups", "not an amount"),
    ],
)
def test_what_is_not_one_amount_is_refused_with_what_to_write(text, said):
    with pytest.raises(AmountError, match=said):
        parse_amount(text)


@given(st.text(max_size=24))
def test_any_text_is_an_amount_or_a_clear_refusal(text):
    try:
        amount = parse_amount(text)
    except AmountError as error:
        refused = str(error)
    else:
        assert amount.value > 0
        assert amount.unit in UNITS
        return
    assert refused.endswith(".")


UNITS_PRINTED = sorted(set(UNITS) - {"each"})
sixteenths = st.integers(min_value=1, max_value=160_000).map(lambda n: F(n, 16))


@given(sixteenths, st.sampled_from([u for u in UNITS_PRINTED if u not in ("ml", "l", "g", "kg")]))
def test_a_printed_amount_reads_back_as_the_same(value, unit):
    amount = parse_amount(format_amount(value, unit))
    assert (amount.value, amount.unit) == (value, unit)


@given(st.integers(min_value=1, max_value=10**6), st.sampled_from(["ml", "l", "g", "kg"]))
def test_a_printed_metric_amount_reads_back_as_the_same(thousandths, unit):
    value = F(thousandths, 1000)
    amount = parse_amount(format_amount(value, unit))
    assert (amount.value, amount.unit) == (value, unit)


volumes = st.sampled_from([name for name, unit in UNITS.items() if unit.kind == "volume"])
masses = st.sampled_from([name for name, unit in UNITS.items() if unit.kind == "mass"])


@given(st.fractions(min_value=0, max_value=10**6), st.one_of(st.tuples(volumes, volumes), st.tuples(masses, masses)))
def test_converting_there_and_back_loses_nothing(value, pair):
    one, other = pair
    assert convert(convert(value, one, other), other, one) == value


@pytest.mark.parametrize(("one", "other"), [("cup", "g"), ("box", "pouch"), ("each", "kg"), ("cup", "nothing")])
def test_volume_never_turns_into_mass_without_the_food(one, other):
    with pytest.raises(ConversionError):
        convert(F(1), one, other)


def test_jar_sizes_go_from_small_to_large():
    assert list(JAR_SIZES) == sorted(JAR_ML, key=lambda size: JAR_ML[size])
    assert JAR_ML["quart"] == 4 * JAR_ML["half-pint"]
