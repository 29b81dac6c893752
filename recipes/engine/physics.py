"""Air pressure and boiling points at a kitchen's altitude, heating water, and sugar solutions."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import ceil, log, sqrt
from typing import NamedTuple

from recipes.engine.quantities import AmountError, parse_number, plain_text
from recipes.engine.rules import FROM_MEMORY, NO_SOURCE
from recipes.engine.terms import Altitude

# Air pressure, the boiling point of water and the jelly point at a kitchen's altitude.
#
# Pressure: ISO 2533 (1975) standard atmosphere, the layer with 6.5 K per km; the altitude is taken as its
# geopotential altitude, which differs by less than 4 m at 5,000 m (0.02 C). Boiling point: IAPWS R7-97(2012),
# "Industrial Formulation 1997", region 4, backward equation 31 with the coefficients of its table 34.
# Weather moves the true boiling point by about half a degree either way; a barometer or a thermometer in
# boiling water says more.

LOWEST_M = Fraction(-430)  # the lowest shore on land
HIGHEST_M = Fraction(5000)  # the highest towns

SEA_LEVEL_HPA = 1013.25
SEA_LEVEL_K = 288.15
LAPSE_K_PER_M = 0.0065
EXPONENT = 9.80665 / (287.05287 * LAPSE_K_PER_M)  # g / (R L), ISO 2533 constants

# What a barometer can read between the two altitudes in any weather.
LOWEST_HPA, HIGHEST_HPA = 500.0, 1120.0

# A thermometer further out than this is not mended by a correction.
LARGEST_CORRECTION_C = 5.0

# IAPWS R7-97(2012), table 34, n1 to n10.
_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)

_METRES = frozenset({"m", "metre", "metres", "meter", "meters"})
_FEET = frozenset({"ft", "foot", "feet", "'"})
_ALTITUDE = re.compile(r"(-?)\s*([0-9][0-9., ]*?)\s*([A-Za-z']*)\.?")
_POINT_OR_THOUSANDS = re.compile(r"[0-9]{1,3}(?:\.[0-9]{3})+")


class AltitudeError(ValueError):
    """The text is not an altitude that a kitchen can have; the message says what to write."""


class ReadingError(ValueError):
    """A barometer or thermometer reading that cannot be right; the message says why."""


def altitude_from_text(text: str) -> Altitude:
    """The altitude in "1040 m", "1,040 m" or "3400 ft". A number without its unit is refused."""
    plain = plain_text(text).replace("\u2032", "'").replace("\u2019", "'")
    match = _ALTITUDE.fullmatch(plain) if len(plain) <= 40 else None
    if match is None:
        raise AltitudeError("Write the altitude as a number with m or ft, such as 1040 m or 3400 ft.")
    sign, number, unit = match[1], match[2].strip(), match[3].lower()
    value = _height(number) * (-1 if sign else 1)
    if not unit:
        raise AltitudeError(f"Is {match[2]} in metres or in feet? Write {match[2]} m or {match[2]} ft.")
    if unit not in _METRES | _FEET:
        raise AltitudeError(f"{match[3]!r} is not a unit of height we know. Write metres as m or feet as ft.")
    altitude = Altitude(value) if unit in _METRES else Altitude.from_feet(value)
    if (problem := altitude_problem(altitude)) is not None:
        raise AltitudeError(problem)
    return altitude


def _height(number: str) -> Fraction:
    # 1.040 m is one metre to some and a thousand to others; taken wrongly it would shorten a process.
    if _POINT_OR_THOUSANDS.fullmatch(number):
        raise AltitudeError(f"{number} can be read two ways. Write it without the point, such as 1040 m.")
    try:
        return parse_number(number, comma_groups=True)
    except AmountError as error:
        raise AltitudeError("Write the altitude as one plain number, such as 1040 m or 3400 ft.") from error


def altitude_problem(altitude: Altitude) -> str | None:
    """Why no kitchen has this altitude, or None."""
    if altitude.metres < LOWEST_M:
        return "No kitchen lies lower than 430 m (1,411 ft) below sea level. Check the number and the unit."
    if altitude.metres > HIGHEST_M:
        return "No kitchen we know lies above 5,000 m (16,404 ft). Check the number and whether it is m or ft."
    return None


def pressure_hpa(altitude: Altitude) -> float:
    """Standard air pressure in hectopascals. Raises `AltitudeError` outside -430 to 5,000 m."""
    if (problem := altitude_problem(altitude)) is not None:
        raise AltitudeError(problem)
    temperature = SEA_LEVEL_K - LAPSE_K_PER_M * float(altitude.metres)
    return float(SEA_LEVEL_HPA * (temperature / SEA_LEVEL_K) ** EXPONENT)


def boiling_point_c(altitude: Altitude) -> float:
    """Where pure water boils in the standard atmosphere, in degrees Celsius."""
    return _saturation_c(pressure_hpa(altitude))


def boiling_point_from_pressure_c(hpa: float) -> float:
    """Where water boils at a pressure measured in the kitchen.

    Weather reports give pressure reduced to sea level, which is not this. Raises `ReadingError`.
    """
    if not LOWEST_HPA <= hpa <= HIGHEST_HPA:
        raise ReadingError("No kitchen has such an air pressure. Read the barometer in hPa where you cook.")
    return _saturation_c(hpa)


def jelly_point_c(altitude: Altitude, above_f: Fraction = Fraction(8)) -> float:
    """Where a spread without added pectin sets: the boiling point and so many degrees Fahrenheit more.

    8 F is the USDA guide's figure for jelly; some recipes print 9 F.
    """
    return boiling_point_c(altitude) + float(above_f) * 5 / 9


def thermometer_correction_c(read_c: float, altitude: Altitude) -> float:
    """What to add to this thermometer's readings, from what it showed in boiling water here.

    Raises `ReadingError` when it is so far out that the water was not boiling or the thermometer is broken.
    """
    correction = boiling_point_c(altitude) - read_c
    if not abs(correction) <= LARGEST_CORRECTION_C:
        raise ReadingError("That is more than 5 C from boiling water here. Let it boil fully, or use another one.")
    return correction


def _saturation_c(hpa: float) -> float:
    """IAPWS-IF97 region 4: saturation temperature from pressure, equation 31."""
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _N
    beta = sqrt(sqrt(hpa / 10_000))  # fourth root of the pressure in MPa
    e = beta * beta + n3 * beta + n6
    f = n1 * beta * beta + n4 * beta + n7
    g = n2 * beta * beta + n5 * beta + n8
    d = 2 * g / (-f - sqrt(f * f - 4 * e * g))
    kelvin = (n10 + d - sqrt((n10 + d) ** 2 - 4 * (n9 + n10 * d))) / 2
    return kelvin - 273.15


# How long a burner takes to heat a pot or a canner: m c dT over its power and efficiency.
#
# These minutes pace a day's work. They are no process times, and every one is rounded up.

WATER_J_PER_KG_K = 4190  # mean of liquid water between 15 and 100 C; food has less, so its minutes come out longer
BOIL_OFF_J_PER_KG = 2_257_000  # heat of vaporisation at 100 C


class Figure(NamedTuple):
    """A figure for pacing the work, and where it comes from."""

    value: float
    source: str


# The share of a burner's power that reaches the pot.
EFFICIENCY: dict[str, Figure] = {
    "gas": Figure(0.32, "ENERGY STAR, as carried by CalMTA, Fact Sheet: Induction Cooking"),
    "electric": Figure(0.74, f"US Department of Energy, {FROM_MEMORY}"),
    "induction": Figure(0.85, "ENERGY STAR, as carried by CalMTA, Fact Sheet: Induction Cooking"),
}
USUAL_WATTS = Figure(2400, NO_SOURCE)  # a large electric ring


@dataclass(frozen=True)
class Burner:
    """One burner: its power in watts and the share of it that reaches the pot."""

    watts: float
    efficiency: float

    def __post_init__(self) -> None:
        if not 0 < self.watts <= 50_000:
            raise ValueError("a burner has between 0 and 50,000 watts")
        if not 0 < self.efficiency <= 1:
            raise ValueError("the efficiency of a burner is a share between 0 and 1")

    @classmethod
    def of_kind(cls, kind: str, watts: float = USUAL_WATTS.value) -> Burner:
        """A "gas", "electric" or "induction" burner."""
        return cls(watts, EFFICIENCY[kind].value)

    @property
    def usable_watts(self) -> float:
        return self.watts * self.efficiency


def minutes_to_heat(kg: float, from_c: float, to_c: float, burner: Burner) -> int:
    """Whole minutes, rounded up, to bring so much water (or food, taken as water) to a temperature."""
    return _minutes(kg * WATER_J_PER_KG_K * max(0.0, to_c - from_c), burner)


def minutes_to_boil_off(kg: float, burner: Burner) -> int:
    """Whole minutes, rounded up, to boil away so much water."""
    return _minutes(kg * BOIL_OFF_J_PER_KG, burner)


def _minutes(joules: float, burner: Burner) -> int:
    return ceil(joules / burner.usable_watts / 60)


# Sugar solutions: how heavy they are, and how far above water they boil.
#
# Density at 20 C: the sucrose table of the CRC Handbook of Chemistry and Physics (Concentrative Properties of Aqueous
# Solutions), read between its rows in a straight line. Change with temperature: the ICUMSA polynomial of 1994 in the
# form of Bubnik, Kadlec, Urban and Bruhns, Sugar Technologists Manual, 8th ed. 1995, p. 164, whose coefficients agree
# in two separate transcriptions but for the fourth (-3.9643 and -3.9646: 0.0003 kg/m3 at most). Used alone the
# polynomial lies within 0.06 % of the table: a newer series of measurements, and nothing a jar can show.
#
# Boiling-point rise: C. A. Browne, Handbook of Sugar Analysis, 1912, as repeated in Lowe, Experimental Cookery.
# Fruit sugars and acids raise the boiling point more than sucrose alone, and newer measurements of pure sucrose lie
# below Browne's; the two about cancel in jam. `BRIX_UNCERTAIN` says how far the tables part.

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
