"""What a page says of a figure: both units for safety, and never less acid, pressure or time than the source."""

from __future__ import annotations

import tomllib
from fractions import Fraction

import pytest
from django.conf import settings
from hypothesis import given
from hypothesis import strategies as st

from recipes.engine.document import recipe_from_document
from recipes.engine.quantities import parse_amount
from recipes.engine.terms import Ingredient, Role
from recipes.presentation import (
    amount_pair,
    headspace_text,
    kitchen_points,
    pressure_text,
    temperature_text,
    volume_text,
)

KPA_PER_PSI = 6.894757293168  # NIST SP 811, appendix B


def line(amount, unit, role=Role.FRUIT, **more):
    return Ingredient(item="x", prep="", role=role, amount=Fraction(amount), unit=unit, **more)


@pytest.mark.parametrize("psi", range(1, 21))
def test_kilopascals_never_ask_for_less_than_the_pounds(psi):
    kpa = int(pressure_text(psi).split("(")[1].split(" ")[0])
    assert 0 <= kpa - psi * KPA_PER_PSI < 1


@pytest.mark.parametrize(
    ("inches", "text"),
    [("1/8", "1/8 in (3 mm)"), ("1/4", "1/4 in (6 mm)"), ("1/2", "1/2 in (13 mm)"), ("1", "1 in (25 mm)")],
)
def test_headspace_in_inches_and_millimetres(inches, text):
    assert headspace_text(Fraction(inches)) == text


def test_heights_and_temperatures_in_both_scales():
    assert temperature_text(100.0) == "100.0 °C (212.0 °F)"
    assert kitchen_points(None) is None


@pytest.mark.parametrize(
    ("ingredient", "metric", "us"),
    [
        (
            line("9/4", "cup", grams=Fraction(450)),
            ("450 g", "2 1/4 cups"),
            ("2 1/4 cups", "450 g"),
        ),
        (line(8, "lb"), ("3.63 kg", "8 lb"), ("8 lb", "3.63 kg")),
        (line(2, "quart", Role.LIQUID), ("1.89 l", "2 quarts"), ("2 quarts", "1.89 l")),
        (line(3, "each"), ("3", ""), ("3", "")),
        (line(1, "box", Role.PECTIN), ("1 box", ""), ("1 box", "")),
        (line(500, "g"), ("500 g", "17 1/2 oz"), ("17 1/2 oz", "500 g")),
        (
            line(3, "cup", amount_high=Fraction(4)),
            ("710 ml to 950 ml", "3 to 4 cups"),
            ("3 to 4 cups", "710 ml to 950 ml"),
        ),
    ],
)
def test_amounts_in_the_readers_units_with_the_others_beside(ingredient, metric, us):
    assert amount_pair(ingredient, "metric") == metric
    assert amount_pair(ingredient, "us") == us


@given(
    amount=st.fractions(Fraction(1, 8), Fraction(200), max_denominator=16),
    unit=st.sampled_from(["tsp", "tbsp", "fl-oz", "cup", "pint", "quart", "oz", "lb"]),
)
def test_turning_acid_into_metric_never_gives_less(amount, unit):
    said = amount_pair(line(amount, unit, Role.ACID), "metric")[0]
    assert in_base(parse_amount(said)) >= in_base_of(amount, unit)


@given(grams=st.fractions(Fraction(1), Fraction(5000), max_denominator=8))
def test_turning_metric_acid_into_us_never_gives_less(grams):
    said = amount_pair(line(grams, "g", Role.ACID), "us")[0]
    assert in_base(parse_amount(said)) >= grams


@given(grams=st.fractions(Fraction(20), Fraction(5000), max_denominator=8))
def test_turning_a_low_acid_vegetable_never_gives_more(grams):
    said = amount_pair(line(grams, "g", Role.LOW_ACID), "us")[0]
    assert in_base(parse_amount(said)) <= grams


BASE = {  # ml or g, from NIST SP 811 and HB 44, written out again here
    "tsp": "4.92892159375",
    "tbsp": "14.78676478125",
    "fl-oz": "29.5735295625",
    "cup": "236.5882365",
    "pint": "473.176473",
    "quart": "946.352946",
    "oz": "28.349523125",
    "lb": "453.59237",
    "g": "1",
    "kg": "1000",
    "ml": "1",
    "l": "1000",
}


def in_base_of(amount, unit):
    return Fraction(amount) * Fraction(BASE[unit])


def in_base(amount):
    return in_base_of(amount.value, amount.unit)


def test_every_acid_of_the_library_is_shown_at_no_less_than_the_source_has():
    checked = 0
    for file in sorted((settings.BASE_DIR / "fixtures" / "library").glob("*.toml")):
        for entry in tomllib.loads(file.read_text()).get("recipe", []):
            for ingredient in recipe_from_document(entry).ingredients:
                if ingredient.role is not Role.ACID or ingredient.unit not in BASE or ingredient.amount_high:
                    continue
                said = parse_amount(amount_pair(ingredient, "metric")[0])
                by_weight = ingredient.grams is not None and said.unit in ("g", "kg")
                source = ingredient.grams if by_weight else in_base_of(ingredient.amount, ingredient.unit)
                assert in_base(said) >= source, (entry["slug"], ingredient.item)
                checked += 1
    assert checked >= 20


def test_volumes_in_litres_and_cups():
    assert volume_text(Fraction(1656)) == "1.7 l (7 US cups)"
    assert volume_text(Fraction(120)) == "120 ml (1/2 US cups)"
    assert volume_text(None) == volume_text(Fraction(0)) == ""
