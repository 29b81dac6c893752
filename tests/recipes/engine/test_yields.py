"""Stated beside predicted: how far off a row says it is."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from recipes.engine.document import recipe_from_document
from recipes.engine.mass_balance import yield_row, yield_rows
from recipes.engine.terms import Seen, StatedYield, TestedRecipe
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


def test_a_recipe_without_a_balance_says_why_and_is_not_within_anything():
    rows = yield_rows([recipe_from_document(SNAP_BEANS, where="beans"), JAM])
    assert rows[0].predicted is None
    assert rows[0].off_by is None
    assert not rows[0].is_within
    assert "end point" in rows[0].why_not
    assert rows[1].is_within
