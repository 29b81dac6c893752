"""Sugar solutions: how heavy they are, and how far above water they boil.

Density at 20 C: the sucrose table of the CRC Handbook of Chemistry and Physics (Concentrative Properties of
Aqueous Solutions), read between its rows in a straight line. Change with temperature: the ICUMSA polynomial of 1994
in the form of Bubnik, Kadlec, Urban and Bruhns, Sugar Technologists Manual, 8th ed. 1995, p. 164, whose coefficients
agree in two separate transcriptions but for the fourth (-3.9643 and -3.9646: 0.0003 kg/m3 at most). Used alone the
polynomial lies within 0.06 % of the table: a newer series of measurements, and nothing a jar can show.

Boiling-point rise: C. A. Browne, Handbook of Sugar Analysis, 1912, as repeated in Lowe, Experimental Cookery.
Fruit sugars and acids raise the boiling point more than sucrose alone, and newer measurements of pure sucrose lie
below Browne's; the two about cancel in jam. `BRIX_UNCERTAIN` says how far the tables part.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from functools import lru_cache
from math import log

ROOM_C = 20.0
HOTTEST_C = 110.0

# Degrees Brix and density at 20 C in kg/m3, as printed (four decimals of a g/ml).
DENSITY_20C: tuple[tuple[float, float], ...] = (
    (0, 998.2), (0.5, 1000.2), (1, 1002.1), (1.5, 1004.0), (2, 1006.0), (2.5, 1007.9), (3, 1009.9), (3.5, 1011.9),
    (4, 1013.9), (4.5, 1015.8), (5, 1017.8), (5.5, 1019.8), (6, 1021.8), (6.5, 1023.8), (7, 1025.9), (7.5, 1027.9),
    (8, 1029.9), (8.5, 1032.0), (9, 1034.0), (9.5, 1036.1), (10, 1038.1), (11, 1042.3), (12, 1046.5), (13, 1050.7),
    (14, 1054.9), (15, 1059.2), (16, 1063.5), (17, 1067.8), (18, 1072.2), (19, 1076.6), (20, 1081.0), (22, 1089.9),
    (24, 1099.0), (26, 1108.2), (28, 1117.5), (30, 1127.0), (32, 1136.6), (34, 1146.4), (36, 1156.2), (38, 1166.3),
    (40, 1176.5), (42, 1186.8), (44, 1197.2), (46, 1207.9), (48, 1218.6), (50, 1229.5), (52, 1240.6), (54, 1251.8),
    (56, 1263.2), (58, 1274.7), (60, 1286.4), (62, 1298.3), (64, 1310.3), (66, 1322.4), (68, 1334.8), (70, 1347.2),
    (72, 1359.9), (74, 1372.6), (76, 1385.5), (78, 1398.6), (80, 1411.7), (82, 1425.0), (84, 1438.3),
)  # fmt: skip
HIGHEST_BRIX = DENSITY_20C[-1][0]

# Row i, column j: coefficient of w^(j+1) u^i with w the mass fraction and u = (t - 20 C) / 100; kg/m3 above water.
_ICUMSA = (
    (385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890),
    (-46.2720, -7.1720, 1.1597, 5.1126, 17.5254),
    (59.7712, 7.2491, 12.3630, -35.4791),
    (-47.2207, -21.6977, 27.6301),
    (18.3184, 12.3081),
)
# Water, 0 to 100 C at one atmosphere: G. S. Kell, J. Chem. Eng. Data 20 (1975) 97.
_WATER = (999.83952, 16.952577, -7.9905127e-3, -46.241757e-6, 105.84601e-9, -281.03006e-12)
_WATER_BELOW = 16.887236e-3

# Degrees Brix and the rise above boiling water at sea level, in C, as printed; nothing dissolved, no rise.
RISE_C: tuple[tuple[float, float], ...] = (
    (0, 0.0), (10, 0.4), (20, 0.6), (30, 1.0), (40, 1.5), (50, 2.0), (60, 3.0), (70, 6.5), (80, 12.0), (90.8, 30.0),
)  # fmt: skip
BRIX_UNCERTAIN = 2.5  # between the published tables at one rise, near the jelly point
SEA_LEVEL_BOILING_C = 100.0
_ZERO_K = 273.15


class OutsideTableError(ValueError):
    """The value lies outside the published table; nothing is read beyond its ends."""


def density_g_per_ml(brix: float, temperature_c: float = ROOM_C) -> float:
    """Grams in a millilitre, 0 to 84 degrees Brix and 0 to 110 C. Raises `OutsideTableError`."""
    if not 0 <= temperature_c <= HOTTEST_C:
        raise OutsideTableError(f"No density is printed for {temperature_c} C.")
    at_20c = _between(DENSITY_20C, brix)
    return at_20c * icumsa_kg_per_m3(brix, temperature_c) / icumsa_kg_per_m3(brix, ROOM_C) / 1000


def icumsa_kg_per_m3(brix: float, temperature_c: float) -> float:
    """The ICUMSA polynomial by itself, in kg/m3."""
    w, u = brix / 100, (temperature_c - ROOM_C) / 100
    dissolved = 0.0
    for row in reversed(_ICUMSA):
        in_w = 0.0
        for coefficient in reversed(row):
            in_w = (in_w + coefficient) * w
        dissolved = dissolved * u + in_w
    return _water_kg_per_m3(temperature_c) + dissolved


def boiling_rise_c(brix: float, boiling_water_c: float = SEA_LEVEL_BOILING_C) -> float:
    """How far above boiling water a solution boils where water boils at `boiling_water_c`.

    Between rows the rise grows by equal factors, as it does in the table. Raises `OutsideTableError`.
    """
    index = _row(RISE_C, brix)
    (brix_a, rise_a), (brix_b, rise_b) = RISE_C[index], RISE_C[index + 1]
    part = (brix - brix_a) / (brix_b - brix_a)
    rise = rise_a * (rise_b / rise_a) ** part if rise_a else rise_b * part
    return rise * _thinner_air(boiling_water_c)


def brix_at_rise(rise_c: float, boiling_water_c: float = SEA_LEVEL_BOILING_C) -> float:
    """The degrees Brix that boil so far above water: `boiling_rise_c` read the other way."""
    rise = rise_c / _thinner_air(boiling_water_c)
    rises = tuple((row_rise, brix) for brix, row_rise in RISE_C)
    index = _row(rises, rise)
    (rise_a, brix_a), (rise_b, brix_b) = rises[index], rises[index + 1]
    part = log(rise / rise_a) / log(rise_b / rise_a) if rise_a else rise / rise_b
    return brix_a + part * (brix_b - brix_a)


def _thinner_air(boiling_water_c: float) -> float:
    # Clausius and Clapeyron: a given lowering of the vapour pressure is worth a rise in proportion to T squared.
    return ((boiling_water_c + _ZERO_K) / (SEA_LEVEL_BOILING_C + _ZERO_K)) ** 2


@lru_cache(maxsize=64)
def _water_kg_per_m3(temperature_c: float) -> float:
    above = sum(c * temperature_c**power for power, c in enumerate(_WATER))
    return above / (1 + _WATER_BELOW * temperature_c)


def _row(table: Sequence[tuple[float, float]], value: float) -> int:
    """The row below `value`, such that another follows. Raises `OutsideTableError`."""
    if not table[0][0] <= value <= table[-1][0]:
        raise OutsideTableError(f"{value:.1f} lies outside the table, which runs to {table[-1][0]}.")
    return min(bisect_right(table, (value, float("inf"))), len(table) - 1) - 1


def _between(table: Sequence[tuple[float, float]], value: float) -> float:
    index = _row(table, value)
    (x_a, y_a), (x_b, y_b) = table[index], table[index + 1]
    return y_a + (y_b - y_a) * (value - x_a) / (x_b - x_a)
