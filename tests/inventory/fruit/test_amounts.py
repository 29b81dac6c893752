"""Amounts as people read them: in their own units, never more than there is, and as the source prints them."""

from __future__ import annotations

import pytest

from inventory.fruit.produce import grams_in, units_words, weight_words

BUSHEL_G = 25401  # 56 lb, to a whole gram


@pytest.mark.parametrize("count", [1, 2, 3, 7, 40])
def test_bushels_of_56_pounds_are_56_pounds_each(count):
    told = units_words(count, container="bushel", unit_g=BUSHEL_G, units="us")
    assert told.endswith(f"({56 * count} lb)")


@pytest.mark.parametrize(
    ("grams", "us", "metric"), [(1000, "2.2 lb", "1 kg"), (650, "1.4 lb", "650 g"), (0, "0 lb", "0 g")]
)
def test_a_weight_is_rounded_down(grams, us, metric):
    assert weight_words(grams, "us") == us
    assert weight_words(grams, "metric") == metric


def test_what_was_typed_in_pounds_is_shown_as_typed_and_less_than_a_pound_in_ounces():
    for typed, shown in (("24 lb", "24 lb"), ("1 lb", "1 lb"), ("12 oz", "12 oz"), ("3.5 lb", "3.5 lb")):
        assert weight_words(grams_in(typed), "us") == shown
    assert weight_words(452, "us") == "15.9 oz"
