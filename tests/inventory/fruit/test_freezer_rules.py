"""How long frozen fruit is at its best: months on the calendar, by sugar and by produce."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.fruit.rules import AT_BEST, CITRUS, Age, months_later, shelf_life


@pytest.mark.parametrize(
    ("today", "age"),
    [
        (date(2026, 3, 11), Age.GOOD),
        (date(2026, 3, 12), Age.SOON),
        (date(2026, 7, 11), Age.SOON),
        (date(2026, 7, 12), Age.PAST),
    ],
)
def test_plain_fruit_is_to_be_used_from_eight_months_and_past_its_best_at_twelve(today, age):
    assert shelf_life(date(2025, 7, 12)).age(today) is age


def test_sugar_keeps_it_longer_and_citrus_keeps_shorter_with_its_own_rule():
    frozen = date(2025, 7, 12)
    assert shelf_life(frozen, with_sugar=True).soon_from > shelf_life(frozen).soon_from
    assert shelf_life(frozen).rule is AT_BEST
    citrus = shelf_life(frozen, produce="oranges")
    assert (citrus.best_until, citrus.rule) == (date(2025, 11, 12), CITRUS)


@pytest.mark.parametrize(
    ("day", "months", "later"),
    [
        (date(2025, 8, 31), 6, date(2026, 2, 28)),
        (date(2027, 8, 31), 6, date(2028, 2, 29)),
        (date(2025, 12, 1), 12, date(2026, 12, 1)),
        (date(2025, 10, 31), 1, date(2025, 11, 30)),
        (date(2025, 11, 30), 1, date(2025, 12, 30)),
    ],
)
def test_a_month_that_is_too_short_gives_its_last_day(day, months, later):
    assert months_later(day, months) == later


@given(st.dates(date(1990, 1, 1), date(2090, 1, 1)), st.booleans(), st.sampled_from(["", "plums", "lemons"]))
def test_soon_always_comes_before_past(day, with_sugar, produce):
    found = shelf_life(day, produce=produce, with_sugar=with_sugar)
    assert day < found.soon_from < found.best_until
