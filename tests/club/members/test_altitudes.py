from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from club.members.rules import altitude_as_typed, altitude_words, metres_from_text
from recipes.engine import AltitudeError, altitude_from_text
from recipes.engine.terms import Altitude


@given(st.integers(min_value=-1410, max_value=16404))
def test_every_whole_foot_is_stored_exactly(feet):
    assert Altitude(Fraction(metres_from_text(f"{feet} ft"))).feet == feet


@pytest.mark.parametrize("feet", ["1000.001", "3000.0001", "-10.00001"])
def test_what_four_decimals_cannot_hold_is_rounded_up_never_down(feet):
    stored = Fraction(metres_from_text(f"{feet} ft"))
    meant = altitude_from_text(f"{feet} ft").metres
    assert meant < stored < meant + Fraction(1, 10_000)


def test_a_hair_over_a_thousand_feet_stays_over_it():
    assert Altitude(Fraction(metres_from_text("1000.00001 ft"))).feet > 1000


@pytest.mark.parametrize("text", ["1040", "-431 m", "5000.1 m", "16405 ft", "high", "1040 yards", "1.040 m"])
def test_what_is_no_altitude_is_refused(text):
    with pytest.raises(AltitudeError):
        metres_from_text(text)


def test_both_units_are_shown_and_rounded_up():
    assert altitude_words(Altitude.from_feet(3400)) == "1,036.4 m (3,400 ft)"
    assert altitude_words(Altitude(Fraction("304.8001"))) == "304.9 m (1,000.1 ft)"
    assert altitude_words(Altitude(Fraction(0))) == "0 m (0 ft)"


def test_a_form_shows_feet_only_to_those_who_prefer_them_and_only_when_exact():
    assert altitude_as_typed(Altitude.from_feet(3400), prefer_feet=True) == ("3400", "ft")
    assert altitude_as_typed(Altitude.from_feet(3400), prefer_feet=False) == ("1036.32", "m")
    assert altitude_as_typed(Altitude(Fraction(1040)), prefer_feet=True) == ("1040", "m")


@given(st.integers(min_value=-4_300_000, max_value=50_000_000), st.booleans())
def test_a_form_saved_unchanged_changes_nothing(steps, prefer_feet):
    stored = Decimal(steps).scaleb(-4)
    number, unit = altitude_as_typed(Altitude(Fraction(stored)), prefer_feet=prefer_feet)
    assert metres_from_text(f"{number} {unit}") == stored
