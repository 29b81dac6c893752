"""Conversions against NIST's exact definitions and against the package pint."""

from __future__ import annotations

from fractions import Fraction

import pint
import pytest

from recipes.engine.quantities import convert

# NIST Handbook 44 (2023), appendix C: gallon = 231 in3, inch = 2.54 cm; ounce and pound avoirdupois.
NIST = [
    ("gallon", "ml", Fraction("3785.411784")),
    ("quart", "ml", Fraction("946.352946")),
    ("pint", "ml", Fraction("473.176473")),
    ("cup", "ml", Fraction("236.5882365")),
    ("fl-oz", "ml", Fraction("29.5735295625")),
    ("tbsp", "tsp", Fraction(3)),
    ("cup", "tbsp", Fraction(16)),
    ("lb", "g", Fraction("453.59237")),
    ("oz", "g", Fraction("28.349523125")),
    ("kg", "g", Fraction(1000)),
    ("l", "ml", Fraction(1000)),
]


@pytest.mark.parametrize(("one", "other", "factor"), NIST)
def test_factors_are_exactly_those_of_nist(one, other, factor):
    assert convert(Fraction(1), one, other) == factor


PINT_NAMES = {
    "tsp": "teaspoon",
    "tbsp": "tablespoon",
    "fl-oz": "fluid_ounce",
    "cup": "cup",
    "pint": "pint",
    "quart": "quart",
    "gallon": "gallon",
    "ml": "milliliter",
    "l": "liter",
    "imperial-cup": "imperial_cup",
    "metric-cup": "metric_cup",
    "g": "gram",
    "kg": "kilogram",
    "oz": "ounce",
    "lb": "pound",
}


def test_every_unit_agrees_with_pint():
    registry = pint.UnitRegistry()
    registry.define("metric_cup = 250 milliliter")  # its definition is the name itself
    for ours, theirs in PINT_NAMES.items():
        base = "g" if ours in ("g", "kg", "oz", "lb") else "ml"
        other = registry.Quantity(1, theirs).to(PINT_NAMES[base]).magnitude
        assert float(convert(Fraction(1), ours, base)) == pytest.approx(other, rel=1e-9), ours
