"""Altitudes are read strictly; what follows from them behaves as air and water do."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.engine.physics import (
    AltitudeError,
    ReadingError,
    altitude_from_text,
    boiling_point_c,
    boiling_point_from_pressure_c,
    jelly_point_c,
    pressure_hpa,
    thermometer_correction_c,
)
from recipes.engine.terms import Altitude

kitchens = st.fractions(min_value=-430, max_value=5000, max_denominator=1000).map(Altitude)


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("1040 m", 1040),
        ("1,040 m", 1040),
        ("1 040 m", 1040),
        ("1\u202f040\u00a0m", 1040),
        ("1040metres", 1040),
        ("１０４０ m", 1040),
        ("1040.5 m", Fraction("1040.5")),
        ("12,5 m", Fraction("12.5")),
        ("0 m", 0),
        ("\u221220 m", -20),
        ("3400 ft", Fraction("1036.32")),
        ("3,400 Feet.", Fraction("1036.32")),
        ("3400\u2032", Fraction("1036.32")),
        ("-430 m", -430),
        ("5000 m", 5000),
    ],
)
def test_an_altitude_with_its_unit_is_read_exactly(text, metres):
    assert altitude_from_text(text).metres == metres


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("1040", "metres or in feet"),
        ("", "number with m or ft"),
        ("high", "number with m or ft"),
        ("1.040 m", "two ways"),
        ("10,40,1 m", "plain number"),
        ("1040 km", "not a unit"),
        ("1040 m 20", "number with m or ft"),
        ("about 1040 m", "number with m or ft"),
        ("-430.01 m", "430 m"),
        ("5000.01 m", "5,000 m"),
        ("16405 ft", "5,000 m"),
        ("1" * 50 + " m", "number with m or ft"),
        ("1e3 m", "not a unit|number with m or ft"),
    ],
)
def test_an_unclear_or_impossible_altitude_is_refused_with_what_to_write(text, said):
    with pytest.raises(AltitudeError, match=said):
        altitude_from_text(text)


@given(st.text(max_size=20))
def test_any_text_is_an_altitude_or_a_clear_refusal(text):
    try:
        altitude = altitude_from_text(text)
    except AltitudeError as error:
        refused = str(error)
    else:
        assert -430 <= altitude.metres <= 5000
        return
    assert refused.endswith(".")


@given(kitchens, kitchens)
def test_water_boils_cooler_in_a_higher_kitchen(one, other):
    low, high = sorted((one, other), key=lambda altitude: altitude.metres)
    assert boiling_point_c(high) <= boiling_point_c(low)
    assert pressure_hpa(high) <= pressure_hpa(low)


@given(kitchens)
def test_the_barometer_and_the_altitude_agree(altitude):
    assert boiling_point_from_pressure_c(pressure_hpa(altitude)) == boiling_point_c(altitude)


@given(kitchens)
def test_the_jelly_point_is_eight_fahrenheit_above_boiling(altitude):
    rise_f = (jelly_point_c(altitude) - boiling_point_c(altitude)) * 9 / 5
    assert rise_f == pytest.approx(8)
    assert jelly_point_c(altitude, above_f=Fraction(9)) > jelly_point_c(altitude)


def test_pressures_outside_the_range_of_kitchens_are_refused():
    for hpa in (0, 499, 1121, float("nan"), -3):
        with pytest.raises(ReadingError):
            boiling_point_from_pressure_c(hpa)
    for metres in (-431, 5001):
        with pytest.raises(AltitudeError):
            pressure_hpa(Altitude(Fraction(metres)))


def test_a_thermometer_that_reads_low_in_boiling_water_is_corrected_up():
    here = Altitude(Fraction(1040))
    assert thermometer_correction_c(boiling_point_c(here) - 1, here) == pytest.approx(1)


@pytest.mark.parametrize("read_c", [90.0, 110.0, float("nan")])
def test_a_thermometer_far_from_boiling_is_refused(read_c):
    with pytest.raises(ReadingError):
        thermometer_correction_c(read_c, Altitude(Fraction(1040)))
