"""Intervals and the comparison of two lots, against scipy; and what is said of few data."""

from __future__ import annotations

import os
import subprocess
import sys
from fractions import Fraction

import pytest
from django.conf import settings
from hypothesis import example, given
from hypothesis import strategies as st
from scipy.stats import binomtest, fisher_exact

from inventory.batches import statistics
from inventory.batches.statistics import Verdict

counts = st.integers(0, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


@given(counts.filter(lambda pair: pair[1] > 0), st.sampled_from([0.8, 0.9, 0.95, 0.99]))
@example((3, 20), 0.95)
@example((0, 1), 0.95)
@example((400, 400), 0.95)
def test_wilson_s_interval_is_scipy_s(pair, confidence):
    failed, looked_at = pair
    low, high = statistics.wilson(failed, looked_at, confidence=confidence)
    known = binomtest(failed, looked_at).proportion_ci(confidence_level=confidence, method="wilson")
    assert low == pytest.approx(known.low, abs=1e-9)
    assert high == pytest.approx(known.high, abs=1e-9)
    assert 0 <= low <= failed / looked_at <= high <= 1


@given(counts, counts)
@example((0, 0), (0, 0))
@example((10, 10), (0, 10))
@example((3, 40), (9, 40))
def test_fisher_s_exact_test_is_scipy_s(a, b):
    ours = statistics.fisher_exact(*a, *b)
    table = [[a[0], a[1] - a[0]], [b[0], b[1] - b[0]]]
    assert isinstance(ours, Fraction)
    assert float(ours) == pytest.approx(float(fisher_exact(table).pvalue), rel=1e-7)


@given(counts, counts)
def test_the_order_of_the_lots_and_of_failing_and_sealing_does_not_matter(a, b):
    there = statistics.fisher_exact(*a, *b)
    assert there == statistics.fisher_exact(*b, *a)
    assert there == statistics.fisher_exact(a[1] - a[0], a[1], b[1] - b[0], b[1])
    assert 0 < there <= 1


def test_a_thousand_times_as_many_lids_are_compared_exactly_too():
    same = statistics.fisher_exact(30, 1000, 60, 2000)
    worse = statistics.fisher_exact(60, 1000, 60, 2000)
    assert same == 1
    assert float(worse) == pytest.approx(float(fisher_exact([[60, 940], [60, 1940]]).pvalue), rel=1e-7)


def test_nothing_looked_at_has_no_rate():
    assert statistics.rate(0, 0) is None


@pytest.mark.parametrize(("failed", "looked_at"), [(-1, 5), (6, 5), (1, 0)])
def test_counts_that_cannot_be_are_refused(failed, looked_at):
    with pytest.raises(ValueError, match="cannot have failed"):
        statistics.rate(failed, looked_at)
    with pytest.raises(ValueError, match="cannot have failed"):
        statistics.fisher_exact(failed, looked_at, 0, 10)


@pytest.mark.parametrize(("looked_at", "is_few"), [(19, True), (20, False)])
def test_fewer_than_20_lids_are_few(looked_at, is_few):
    assert statistics.rate(1, looked_at).is_few is is_few


@pytest.mark.parametrize(
    ("table", "verdict"),
    [
        ((0, 0, 5, 50), Verdict.NOTHING),
        ((0, 3, 1, 4), Verdict.TOO_FEW),
        ((0, 30, 1, 30), Verdict.TOO_FEW),  # one failure in all: no way to share it out would tell
        ((5, 60, 6, 60), Verdict.MAY_BE_CHANCE),
        ((1, 60, 12, 60), Verdict.HARDLY_CHANCE),
        ((0, 8, 8, 8), Verdict.HARDLY_CHANCE),  # few, and plain all the same
    ],
)
def test_a_comparison_says_in_a_word_what_the_data_bear(table, verdict):
    assert statistics.compare(*table).verdict is verdict


def test_the_figures_need_no_django():
    blocked = "import sys; sys.modules['django'] = None; import inventory.batches.statistics, inventory.jars.rules"
    clean = {key: value for key, value in os.environ.items() if key != "DJANGO_SETTINGS_MODULE"}
    subprocess.run([sys.executable, "-c", blocked], check=True, cwd=settings.BASE_DIR, env=clean)
