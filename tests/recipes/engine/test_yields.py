"""Stated beside predicted: how far off a row says it is."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from recipes.engine.document import recipe_from_document
from recipes.engine.quantities import JAR_ML
from recipes.engine.terms import Refusal, Seen, StatedYield, TestedRecipe
from recipes.engine.yields import Filling, filling_of, food_classes, yield_row, yield_rows
from tests.recipes.engine.samples import SNAP_BEANS, STRAWBERRY_JAM

JAM = recipe_from_document(STRAWBERRY_JAM, where="jam")


def stated(low: int, high: int, seen: Seen = Seen.TWICE) -> TestedRecipe:
    return replace(JAM, stated_yield=StatedYield("half-pint", Fraction(low), Fraction(high), seen))


@pytest.mark.parametrize(
    ("low", "high", "off_by"),
    [(8, 8, 0), (7, 7, 0), (8, 11, 0), (9, 9, 1), (11, 12, 3), (6, 6, -1), (4, 5, -2)],
)
def test_off_by_counts_from_the_interval_in_whole_jars(low: int, high: int, off_by: int):
    row = yield_row(stated(low, high))
    assert row.whole_jars == (7, 8)
    assert row.off_by == off_by
    assert row.is_within == (off_by == 0)


def test_a_suspect_yield_is_shown_and_said_to_be_suspect():
    assert yield_row(stated(8, 8, Seen.SUSPECT)).is_suspect
    assert not yield_row(stated(8, 8, Seen.DISPUTED)).is_suspect


BEANS = recipe_from_document(SNAP_BEANS, where="beans")


def test_the_strict_figure_counts_from_the_best_estimate():
    row = yield_row(stated(6, 7))  # the best estimate is 7.7 jars
    assert row.best_off_by == pytest.approx(0.71, abs=0.01)
    assert row.is_within_a_jar
    assert not row.is_best_inside
    assert yield_row(stated(8, 9)).is_best_inside
    assert not yield_row(stated(5, 6)).is_within_a_jar


def test_a_recipe_of_no_class_says_why_and_is_not_within_anything():
    rows = yield_rows([replace(BEANS, kind="fish"), JAM])
    assert rows[0].predicted is None
    assert rows[0].off_by is None
    assert not rows[0].is_within
    assert not rows[0].is_within_a_jar
    assert "end point" in rows[0].why_not
    assert rows[1].is_within


def test_packed_food_fills_jars_by_its_trimmed_weight_and_says_what_lies_in_each():
    """14 lb of beans, 12 % cut away, each gram left taking up what the class says."""
    found = filling_of(BEANS)
    assert isinstance(found, Filling)
    (fills,) = {each.fills.best for each in food_classes() if each.name == found.food_class}
    assert found.ml.best == pytest.approx(14 * 453.592 * 0.88 * fills, rel=0.001)
    assert found.jars.low < found.jars.best < found.jars.high
    assert found.solids_g is not None
    assert found.liquid_ml is not None
    assert found.solids_g.best / 1.03 + found.liquid_ml.best == pytest.approx(float(JAR_ML["quart"]), rel=0.001)


def test_half_the_amounts_fill_half_the_jars():
    whole, half = filling_of(BEANS), filling_of(BEANS, scale=Fraction(1, 2))
    assert isinstance(whole, Filling)
    assert isinstance(half, Filling)
    assert half.jars.best == pytest.approx(whole.jars.best / 2)
    assert half.solids_g == whole.solids_g


def test_more_food_never_fills_less():
    more = replace(BEANS, ingredients=(replace(BEANS.ingredients[0], amount=Fraction(15)), *BEANS.ingredients[1:]))
    one, other = filling_of(BEANS), filling_of(more)
    assert isinstance(one, Filling)
    assert isinstance(other, Filling)
    assert one.jars.best < other.jars.best


def test_a_spread_with_added_pectin_is_weighed_or_nothing():
    assert isinstance(filling_of(JAM), Refusal)
