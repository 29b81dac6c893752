"""Sugar solutions against the printed tables, and each curve against itself read the other way."""

from __future__ import annotations

from math import exp, log

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.engine.mass_balance import (
    DENSITY_20C,
    HIGHEST_BRIX,
    RISE_C,
    OutsideTableError,
    boiling_rise_c,
    brix_at_rise,
    density_g_per_ml,
    icumsa_kg_per_m3,
)

# Sucrose in water at 20 C, kg/m3, from a table of another hand (Physics II Laboratory, Nicolaus Copernicus University,
# Torun, "Zaleznosc gestosci wodnego roztworu sacharozy od stezenia"): odd rows, which our table lacks above 20.
TORUN_20C = {
    21: 1085.40, 23: 1094.41, 25: 1103.54, 27: 1112.82, 29: 1122.23, 31: 1131.76, 33: 1141.45, 35: 1151.27, 37: 1161.24,
}  # fmt: skip
TORUN_15C = {5: 1018.84, 10: 1039.25, 15: 1060.41, 20: 1082.33, 25: 1105.07, 30: 1128.63, 35: 1153.06}

brix = st.floats(0, HIGHEST_BRIX)


@pytest.mark.parametrize(("row", "printed"), DENSITY_20C)
def test_density_is_the_printed_one_to_its_last_digit(row: float, printed: float):
    assert round(1000 * density_g_per_ml(row), 1) == printed


@pytest.mark.parametrize(("row", "printed"), TORUN_20C.items())
def test_between_the_rows_density_agrees_with_another_table(row: float, printed: float):
    assert 1000 * density_g_per_ml(row) == pytest.approx(printed, abs=0.11)


@pytest.mark.parametrize(("row", "printed"), TORUN_15C.items())
def test_cooler_solutions_agree_with_another_table(row: float, printed: float):
    assert 1000 * density_g_per_ml(row, 15) == pytest.approx(printed, abs=0.11)


def test_the_polynomial_and_the_table_part_by_no_more_than_six_parts_in_ten_thousand():
    assert all(abs(icumsa_kg_per_m3(row, 20) / printed - 1) < 6e-4 for row, printed in DENSITY_20C)


@pytest.mark.parametrize(("temperature", "printed"), [(20, 998.20), (50, 988.04), (80, 971.80), (100, 958.36)])
def test_with_no_sugar_the_density_is_that_of_water(temperature: float, printed: float):
    # CRC Handbook of Chemistry and Physics, Standard density of water; from memory.
    assert 1000 * density_g_per_ml(0, temperature) == pytest.approx(printed, abs=0.05)


@given(st.tuples(brix, brix), st.floats(0, 100))
def test_more_sugar_is_never_lighter(two: tuple[float, float], temperature: float):
    thin, thick = sorted(two)
    assert density_g_per_ml(thin, temperature) <= density_g_per_ml(thick, temperature) + 1e-12


@given(st.floats(0, HIGHEST_BRIX), st.tuples(st.floats(10, 100), st.floats(10, 100)))
def test_warmer_is_never_heavier(at: float, two: tuple[float, float]):
    cool, warm = sorted(two)
    assert density_g_per_ml(at, warm) <= density_g_per_ml(at, cool) + 1e-12


@pytest.mark.parametrize(("row", "printed"), RISE_C)
def test_the_rise_is_the_printed_one_to_its_last_digit(row: float, printed: float):
    assert round(boiling_rise_c(row), 1) == printed


def test_the_jelly_point_of_8_f_is_about_65_brix():
    # Cruess and McNair, in Lowe, Experimental Cookery: 65 Brix sets well and boils 3.9 C above water.
    assert brix_at_rise(8 * 5 / 9) == pytest.approx(65, abs=0.5)
    assert boiling_rise_c(65) == pytest.approx(3.9, abs=0.6)


def test_68_brix_boils_about_5_c_above_water():
    # Practical Action, Jams, jellies and marmalades: 68 per cent boils at 105 C at sea level.
    assert boiling_rise_c(68) == pytest.approx(5.0, abs=0.6)


@pytest.mark.parametrize("at", [20, 30, 40, 50, 60, 65])
def test_the_rise_lies_near_the_equation_of_starzak_and_peacock(at: float):
    assert boiling_rise_c(at) == pytest.approx(_starzak_and_peacock(at), abs=0.65)


@given(st.floats(0, 90.8), st.floats(80, 101))
def test_brix_from_a_rise_and_a_rise_from_brix_undo_each_other(at: float, boiling: float):
    assert brix_at_rise(boiling_rise_c(at, boiling) * (1 - 1e-12), boiling) == pytest.approx(at, abs=1e-6)


@given(st.tuples(st.floats(0, 90.8), st.floats(0, 90.8)))
def test_a_thicker_pot_never_boils_cooler(two: tuple[float, float]):
    thin, thick = sorted(two)
    assert boiling_rise_c(thin) <= boiling_rise_c(thick)


def test_higher_up_the_same_pot_rises_a_little_less():
    assert boiling_rise_c(65, 94.7) == pytest.approx(boiling_rise_c(65) * (367.85 / 373.15) ** 2)


@pytest.mark.parametrize("outside", [-0.1, 84.1])
def test_density_is_not_read_beyond_its_table(outside: float):
    with pytest.raises(OutsideTableError):
        density_g_per_ml(outside)


def test_a_rise_is_not_read_beyond_its_table():
    with pytest.raises(OutsideTableError):
        brix_at_rise(31)
    with pytest.raises(OutsideTableError):
        density_g_per_ml(60, 120)


def _starzak_and_peacock(at: float) -> float:
    """Rise of pure sucrose at sea level by the water activity of Starzak and Peacock, Zuckerindustrie 122 (1997) 380:
    ln gamma = Q/RT (1 + a x + b x^2) x^2, x the mole fraction of sucrose; Clausius and Clapeyron for the rest."""
    sugar, water = at / 342.3, (100 - at) / 18.015
    x = sugar / (sugar + water)
    gamma = exp(-17638 / (8.314 * 376) * (1 - 1.0038 * x - 0.24653 * x * x) * x * x)
    return -log((1 - x) * gamma) * 8.314 * 373.15 * 377 / 40657
