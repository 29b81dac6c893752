"""Pure sums: a gauge's error and verdict, when a test lapses, free spans of days, codes and money."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from club.core.money import cents_typed, money_words
from inventory.equipment.choices import FACTS, Kind, Measure
from inventory.equipment.rules import (
    DAY,
    Reading,
    Span,
    code_key,
    code_scanned,
    code_written,
    free_spans,
    has_passed,
    is_enough,
    lapses_on,
    reads_high_by,
    runs,
    worst_error,
)
from tests.factories.equipment import readings

FIRST = date(2026, 9, 1)


def on(*numbers: int) -> set[date]:
    return {FIRST + (number - 1) * DAY for number in numbers}


def span(first: int, last: int) -> Span:
    return Span(FIRST + (first - 1) * DAY, FIRST + (last - 1) * DAY)


def test_an_error_is_exact_and_has_a_sign():
    assert Reading(Decimal("10.1"), Decimal("10.4")).error == Decimal("0.3")
    assert worst_error(readings(("5", "4"), ("10", "11"), ("15", "15"))) == Decimal(1)
    assert worst_error(readings(("5", "3"), ("10", "11"), ("15", "15"))) == Decimal(-2)


@pytest.mark.parametrize(
    ("shown", "passes"), [("12", True), ("12.01", False), ("8", True), ("7.99", False), ("10", True)]
)
def test_a_dial_gauge_passes_up_to_two_psi_either_way_and_not_a_hundredth_more(shown, passes):
    found = readings(("5", "5"), ("10", shown), ("15", "15"))
    assert has_passed(found, Measure.PSI) is passes


def test_only_what_a_gauge_shows_too_much_raises_the_setting():
    assert reads_high_by(readings(("5", "5.5"), ("10", "11"), ("15", "13"))) == Decimal(1)
    assert reads_high_by(readings(("5", "4"), ("10", "9"))) == Decimal(0)


@pytest.mark.parametrize(
    ("points", "enough"),
    [
        (("5", "10", "15"), True),
        (("11", "12", "14"), True),
        (("10", "15"), False),
        (("12", "13", "15"), False),
        (("5", "8", "13"), False),
        (("5", "15", "15"), False),
    ],
)
def test_a_gauge_is_tested_at_three_points_that_reach_over_the_pressures_of_the_tables(points, enough):
    assert is_enough(readings(*((one, one) for one in points)), Measure.PSI) is enough


def test_a_ph_meter_wants_two_buffers_and_a_refractometer_water():
    assert is_enough(readings(("4.01", "4.0"), ("7", "7")), Measure.PH)
    assert not is_enough(readings(("4.01", "4.0"), ("4.1", "4.1")), Measure.PH)
    assert not has_passed(readings(("4.01", "4.12"), ("7", "7")), Measure.PH)
    assert is_enough(readings(("0", "0.5")), Measure.BRIX)
    assert not is_enough(readings(("20", "20")), Measure.BRIX)


def test_a_gauge_s_test_is_good_for_a_year_and_a_leap_day_s_not_for_longer():
    assert lapses_on(date(2026, 9, 14), Measure.PSI) == date(2027, 9, 14)
    assert lapses_on(date(2028, 2, 29), Measure.PSI) == date(2029, 2, 28)
    assert lapses_on(date(2026, 9, 14), Measure.PH) == date(2026, 12, 13)


def test_every_kind_has_its_facts_and_a_prefix_of_its_own():
    assert set(FACTS) == set(Kind.values)
    assert len({facts.prefix for facts in FACTS.values()}) == len(FACTS)


def test_the_first_free_span_of_each_gap_is_found():
    free = list(free_spans(on(3, 4, 9), length=2, turnaround=0, window=span(1, 12)))
    assert free == [span(1, 2), span(5, 6), span(10, 11)]


def test_the_days_for_cleaning_must_be_free_too():
    free = list(free_spans(on(3, 4, 9), length=2, turnaround=1, window=span(1, 12)))
    assert free == [span(5, 6), span(10, 11)]


def test_nothing_is_free_where_no_gap_is_long_enough():
    assert list(free_spans(on(3, 6, 9), length=3, turnaround=0, window=span(1, 10))) == []


@given(
    taken=st.sets(st.integers(1, 40), max_size=25),
    length=st.integers(1, 6),
    turnaround=st.integers(0, 3),
)
def test_free_spans_are_free_and_the_first_is_the_earliest_there_is(taken, length, turnaround):
    days = on(*taken)
    found = list(free_spans(days, length=length, turnaround=turnaround, window=span(1, 40)))
    everywhere = [
        one
        for first in range(1, 41)
        if (one := span(first, first + length - 1)).ends <= span(1, 40).ends
        and not days & set(one.with_turnaround(turnaround).days())
    ]
    assert set(found) <= set(everywhere)
    assert found[:1] == everywhere[:1]


def test_days_are_put_together_into_spans():
    assert runs(on(9, 3, 5, 4)) == [span(3, 5), span(9, 9)]
    assert runs([]) == []
    assert Span.of(FIRST, 3).length == 3
    assert list(Span.of(FIRST, 2).days()) == [FIRST, FIRST + timedelta(days=1)]


@pytest.mark.parametrize(
    ("typed", "code"),
    [("bwc 01", "BWC-01"), (" BWC-01 ", "BWC-01"), ("bwc__1", "BWC-1"), ("x", "X"), ("BWC/1", None), ("", None)],
)
def test_a_code_is_written_in_capitals_with_single_dashes(typed, code):
    assert code_written(typed) == code
    assert code_written("A" * 21) is None


def test_a_scanned_label_gives_its_code():
    assert code_scanned("https://club.example.test/equipment/t/BWC-01/") == "BWC-01"
    assert code_scanned(" bwc-01 ") == "bwc-01"
    assert code_key("bwc-01") == code_key("BWC 01") == "BWC01"


@pytest.mark.parametrize(
    ("typed", "cents"),
    [("20", 2000), ("20.5", 2050), ("20,50", 2050), ("", 0), ("0.05", 5), ("-1", None), ("1.234", None)],
)
def test_money_is_whole_cents(typed, cents):
    assert cents_typed(typed) == cents
    assert money_words(2050) == "20.50"
    assert money_words(5) == "0.05"
