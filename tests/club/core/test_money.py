"""Money is typed and shown in one way, and kept in whole cents."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError

from club.core.money import MoneyField, money_text, money_words


@pytest.mark.parametrize(
    ("typed", "cents"), [("4.99", 499), ("4,9", 490), (" 5 ", 500), ("1234567.89", 123_456_789), ("0", 0)]
)
def test_a_sum_is_read_as_whole_cents(typed, cents):
    assert MoneyField().clean(typed) == cents


@pytest.mark.parametrize("typed", ["-1", "1,234.50", "12345678", "0.001", "4.", "four"])
def test_what_is_no_sum_is_refused_with_an_example(typed):
    with pytest.raises(ValidationError, match=r"4\.99"):
        MoneyField().clean(typed)


@pytest.mark.parametrize("empty_value", [None, 0])
def test_nothing_typed_is_what_the_field_says_it_is(empty_value):
    assert MoneyField(required=False, empty_value=empty_value).clean(" ") == empty_value


def test_a_first_value_is_shown_as_it_can_be_typed():
    assert [MoneyField().prepare_value(cents) for cents in (123_456, 0)] == ["1234.56", "0.00"]
    assert MoneyField(empty_value=0).prepare_value(0) == ""
    assert MoneyField().clean(MoneyField().prepare_value(123_456)) == 123_456


def test_money_is_written_with_thousands_apart_and_a_minus_for_what_is_owed():
    assert [money_text(cents) for cents in (120, -120, 123_456)] == ["1.20", "−1.20", "1,234.56"]
    assert money_words(123_456) == "1234.56"


def test_the_club_s_sign_stands_before_a_sum_but_not_in_what_is_typed_or_taken_along(settings):
    settings.CURRENCY_SIGN = "€"
    assert [money_text(120), money_text(-120), money_words(120)] == ["€1.20", "−€1.20", "1.20"]
    assert money_text(120, with_sign=False) == "1.20"
