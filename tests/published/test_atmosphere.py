"""Boiling points and pressures against outside formulations and printed tables."""

from __future__ import annotations

from fractions import Fraction

import CoolProp.CoolProp as coolprop
import iapws
import pytest

from recipes.engine import boiling_point_c, jelly_point_c
from recipes.engine.physics import boiling_point_from_pressure_c, pressure_hpa
from recipes.engine.terms import Altitude

HEIGHTS_M = range(-100, 4001, 50)


@pytest.mark.parametrize(
    ("metres", "hpa"),
    # ISO 2533 / ICAO Doc 7488 standard atmosphere, table by geopotential altitude.
    [(0, 1013.25), (500, 954.61), (1000, 898.75), (2000, 794.95), (3000, 701.09), (4000, 616.40), (5000, 540.20)],
)
def test_pressure_is_that_of_the_standard_atmosphere(metres, hpa):
    assert pressure_hpa(Altitude(Fraction(metres))) == pytest.approx(hpa, abs=0.02)


def test_the_saturation_equation_gives_the_value_the_release_prints():
    # IAPWS R7-97(2012), table 36: 0.1 MPa gives 372.755919 K.
    assert boiling_point_from_pressure_c(1000) == pytest.approx(372.755919 - 273.15, abs=5e-7)


def test_boiling_points_agree_with_the_iapws_package():
    for metres in HEIGHTS_M:
        altitude = Altitude(Fraction(metres))
        # IAPWS-95 is a different equation from the one the engine uses.
        other = iapws.IAPWS95(P=pressure_hpa(altitude) / 10_000, x=0).T - 273.15
        assert boiling_point_c(altitude) == pytest.approx(other, abs=0.05)


def test_boiling_points_agree_with_coolprop():
    for metres in HEIGHTS_M:
        altitude = Altitude(Fraction(metres))
        # The pressure is CoolProp's neighbour, not ours: the barometric formula with rounded constants.
        pascal = 101_325 * (1 - 2.25577e-5 * metres) ** 5.25588
        other = coolprop.PropsSI("T", "P", pascal, "Q", 0, "Water") - 273.15
        assert boiling_point_c(altitude) == pytest.approx(other, abs=0.05)


@pytest.mark.parametrize(
    ("feet", "printed_f"),
    # Michigan State Univ. Extension 01600889 and 01600890: gel temperatures in whole degrees F by altitude.
    [(0, 220), (1000, 218), (2000, 216), (3000, 214), (4000, 212), (5000, 211), (6000, 209), (7000, 207), (8000, 205)],
)
def test_the_jelly_point_agrees_with_the_printed_table_by_altitude(feet, printed_f):
    ours_f = jelly_point_c(Altitude.from_feet(feet)) * 9 / 5 + 32
    assert ours_f == pytest.approx(printed_f, abs=0.8)
