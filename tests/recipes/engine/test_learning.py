"""What the logs teach of a yield: the prior alone, a bare copy of the formula, and what is left out."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import pytest

from recipes.engine import Span
from recipes.engine.document import recipe_from_document
from recipes.engine.terms import Seen
from recipes.engine.yields import Logged, counted_between, learned, left_of_the_pot, prior_of, yield_row
from tests.recipes.engine.samples import SNAP_BEANS, STRAWBERRY_JAM

JAM = recipe_from_document(STRAWBERRY_JAM, where="jam")
BEANS = recipe_from_document(SNAP_BEANS, where="beans")
PRIOR = Span(0.9, 1.0, 1.1)
T_975 = {4: 2.776, 6: 2.447, 8: 2.306, 14: 2.145, 34: 2.032}  # Student's table, as printed in any book


def logs(*shares: float, left_out: int = 0) -> Logged:
    return Logged(len(shares), sum(shares), sum(share**2 for share in shares), left_out)


def test_without_a_batch_the_next_one_lies_where_the_published_figures_say():
    found = learned(PRIOR, Logged())
    assert (found.batches, found.left_out) == (0, 0)
    assert found.next_batch == pytest.approx(PRIOR, abs=1e-9)
    assert found.mean.half_width < found.next_batch.half_width


@pytest.mark.parametrize("shares", [(1.2,), (0.95, 1.05), (1.1, 1.1, 1.15, 1.2, 1.05), (0.8,) * 30])
def test_the_posterior_is_the_one_of_the_printed_formula(shares: tuple[float, ...]):
    """A second copy, the other way round: one batch after the other, each answer the next one's prior."""
    k, m, a = 2.0, 1.0, 2.0
    b = a * (0.1 / T_975[4]) ** 2 * k / (k + 1)
    for share in shares:
        b += k * (share - m) ** 2 / (2 * (k + 1))
        m, k, a = (k * m + share) / (k + 1), k + 1, a + 0.5
    found = learned(PRIOR, logs(*shares))
    assert found.next_batch.best == pytest.approx(m)
    assert found.mean.best == pytest.approx(m)
    if 2 * a in T_975:
        assert found.next_batch.half_width == pytest.approx(T_975[2 * a] * sqrt(b * (k + 1) / (a * k)), rel=2e-3)
        assert found.mean.half_width == pytest.approx(T_975[2 * a] * sqrt(b / (a * k)), rel=2e-3)


def test_batches_that_agree_make_it_surer_and_one_batch_does_not_decide():
    one, ten, forty = (learned(PRIOR, logs(*(1.2,) * n)) for n in (1, 10, 40))
    assert 1.0 < one.next_batch.best < 1.1 < ten.next_batch.best < forty.next_batch.best < 1.2
    assert one.mean.half_width > ten.mean.half_width > forty.mean.half_width
    assert ten.next_batch.low > 0


def test_what_lies_far_off_is_counted_and_teaches_nothing():
    low, high = counted_between(PRIOR)
    assert (low, high) == pytest.approx((0.45, 1.65))
    assert learned(PRIOR, logs(1.0, left_out=2)) == learned(PRIOR, logs(1.0))._replace(left_out=2)


def test_the_prior_reaches_over_what_is_stated_and_what_is_predicted():
    found, row = prior_of(JAM), yield_row(JAM)
    assert found is not None
    assert row.predicted is not None
    assert found.jars == 8
    assert found.share.best == 1
    assert found.share.low * 8 == pytest.approx(row.predicted.low)
    assert found.share.high * 8 == pytest.approx(max(8, row.predicted.high))


def test_where_no_yield_was_seen_the_weight_is_the_prior_and_a_class_of_food_is_none():
    unseen = replace(JAM, stated_yield=replace(JAM.stated_yield, seen=Seen.MEMORY))
    found, row = prior_of(unseen), yield_row(JAM)
    assert found is not None
    assert row.predicted is not None
    assert found.jars == row.predicted.low
    assert found.share.low == pytest.approx(1)
    assert prior_of(replace(BEANS, stated_yield=replace(BEANS.stated_yield, seen=Seen.MEMORY))) is None


def test_a_pot_of_jam_is_left_all_but_what_boils_off_and_packed_food_has_no_pot():
    row = yield_row(JAM)
    assert row.predicted is not None
    left = left_of_the_pot(JAM, row.predicted)
    assert left is not None
    assert 0.85 < left.best < 1
    assert left_of_the_pot(BEANS, Span(6, 7, 8)) is None
    half = replace(
        JAM, ingredients=tuple(replace(each, amount=each.amount / 2, grams=None) for each in JAM.ingredients)
    )
    half_left = left_of_the_pot(half, row.predicted.times(0.5))
    assert half_left is not None
    assert half_left.best == pytest.approx(left.best, rel=0.02)
