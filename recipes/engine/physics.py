"""Air pressure and boiling points at a kitchen's altitude, and heating water."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, sqrt
from typing import NamedTuple

from recipes.engine.data import rows
from recipes.engine.messages import Text, TextError
from recipes.engine.quantities import AmountError, parse_number, plain_text
from recipes.engine.rules import NO_SOURCE
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


class AltitudeError(TextError):
    """The text is not an altitude that a kitchen can have; the message says what to write."""


class ReadingError(TextError):
    """A barometer or thermometer reading that cannot be right; the message says why."""


def altitude_from_text(text: str) -> Altitude:
    """The altitude in "1040 m", "1,040 m" or "3400 ft". A number without its unit is refused."""
    plain = plain_text(text).replace("\u2032", "'").replace("\u2019", "'")
    match = _ALTITUDE.fullmatch(plain) if len(plain) <= 40 else None
    if match is None:
        raise AltitudeError("altitude.unread")
    sign, number, unit = match[1], match[2].strip(), match[3].lower()
    value = _height(number) * (-1 if sign else 1)
    if not unit:
        raise AltitudeError("altitude.no-unit", number=match[2])
    if unit not in _METRES | _FEET:
        raise AltitudeError("altitude.unit-unknown", unit=match[3])
    altitude = Altitude(value) if unit in _METRES else Altitude.from_feet(value)
    if (problem := altitude_problem(altitude)) is not None:
        raise AltitudeError(problem)
    return altitude


def _height(number: str) -> Fraction:
    # 1.040 m is one metre to some and a thousand to others; taken wrongly it would shorten a process.
    if _POINT_OR_THOUSANDS.fullmatch(number):
        raise AltitudeError("altitude.two-ways", number=number)
    try:
        return parse_number(number, comma_groups=True)
    except AmountError as error:
        raise AltitudeError("altitude.not-plain") from error


def altitude_problem(altitude: Altitude) -> Text | None:
    """Why no kitchen has this altitude, or None."""
    if altitude.metres < LOWEST_M:
        return Text("altitude-out-of-range.low")
    return Text("altitude-out-of-range.high") if altitude.metres > HIGHEST_M else None


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
        raise ReadingError("reading.pressure")
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
        raise ReadingError("reading.thermometer")
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


# The share of a burner's power that reaches the pot, by the kind of stove.
EFFICIENCY: dict[str, Figure] = {
    row["stove"]: Figure(float(row["efficiency"]), row["source"]) for row in rows("stoves.csv")
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
    def of_kind(cls, kind: str, watts: float | None = None) -> Burner:
        """A "gas", "electric" or "induction" burner; of the usual power where its own is not known."""
        return cls(USUAL_WATTS.value if watts is None else watts, EFFICIENCY[kind].value)

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
