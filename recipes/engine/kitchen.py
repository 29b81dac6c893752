"""Rounding an exact amount to what a kitchen can measure, by what the ingredient does in the jar.

Acid is never rounded down and low-acid vegetables never up, however small the step: the balance of the
two is what keeps the jar safe. Pectin goes by whole packets. An amount that the measures can already
give is left as it is. The tolerances and steps are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import Enum
from fractions import Fraction
from functools import lru_cache
from math import ceil, floor
from typing import NamedTuple

from recipes.engine.terms import Role
from recipes.engine.units import PACKETS, UNITS, US_CUP_ML, ConversionError
from recipes.engine.wording import format_amount, format_number

# How far an amount may move to save scoops.
TOLERANCE = Fraction(2, 100)
TOLERANCE_BY_ROLE: dict[Role, Fraction] = {Role.SPICE: Fraction(5, 100), Role.LIQUID: Fraction(3, 100)}

# Spoons and cups are counted in eighths of a teaspoon, the smallest spoon in a common set.
EIGHTH_ML = US_CUP_ML / 384
CUP, TBSP, TSP = 384, 24, 8
CUP_PARTS = ((0, 0), (96, 1), (128, 1), (192, 1), (256, 2), (288, 2))  # eighths of a tsp, scoops
PATIENCE = 6  # scoops, beyond whole cups, before a rounder amount is looked for

_SCOOPED = frozenset({"tsp", "tbsp", "fl-oz", "cup", "pint", "quart", "gallon"})
_BIG = {"pint": 2 * CUP, "quart": 4 * CUP, "gallon": 16 * CUP}


class Way(Enum):
    """Which way an amount may move."""

    UP = "up"
    DOWN = "down"
    NEAREST = "nearest"


class KitchenAmount(NamedTuple):
    """A measurable amount. `value` is in `unit`; `text` says how to measure it."""

    value: Fraction
    unit: str
    text: str
    error_pct: Fraction  # how far `value` is from what was asked, of what was asked


def way_for(role: Role) -> Way:
    """Acid up, low-acid vegetables down, the rest to the nearest."""
    return {Role.ACID: Way.UP, Role.LOW_ACID: Way.DOWN}.get(role, Way.NEAREST)


def round_for_kitchen(value: Fraction, unit: str, role: Role) -> KitchenAmount:
    """`value` (0 or more) as spoons, cups, grams, ounces or pieces, moved only the way its role allows."""
    if unit not in UNITS:
        raise ConversionError(f"There is no unit called {unit!r}.")
    if value <= 0:
        return KitchenAmount(Fraction(0), unit, "none", Fraction(0))
    rounded = _rounder(unit, role)(value, unit, role)
    text = measure_text(rounded, unit) if rounded else "leave out"
    return KitchenAmount(rounded, unit, text, (rounded - value) / value * 100)


def measure_text(value: Fraction, unit: str) -> str:
    """How to measure a rounded amount: "2 cups + 3 tbsp", "3 lb 4 oz", "2 boxes", "560 ml"."""
    if unit in _SCOOPED:
        eighths = value * UNITS[unit].size / EIGHTH_ML
        if eighths.denominator == 1:
            return _scoop_text(int(eighths), unit)
    if unit == "lb":
        return _pound_text(value)
    if unit in ("metric-cup", "imperial-cup"):
        return format_amount(value * UNITS[unit].size, "ml")
    return format_amount(value, unit)


def _rounder(unit: str, role: Role) -> Callable[[Fraction, str, Role], Fraction]:
    if unit in _SCOOPED:
        return _round_scoops
    if role is Role.PECTIN and unit in PACKETS:
        return _round_packets
    return _round_steps


def _round_packets(value: Fraction, unit: str, role: Role) -> Fraction:
    return Fraction(max(1, floor(value + Fraction(1, 2))))


def _round_steps(value: Fraction, unit: str, role: Role) -> Fraction:
    size = UNITS[unit].size
    step = _step_for(value * size, unit) / size
    return _to_step(value, step, way_for(role))


def _to_step(value: Fraction, step: Fraction, way: Way) -> Fraction:
    if way is Way.UP:
        return ceil(value / step) * step
    if way is Way.DOWN:
        return floor(value / step) * step
    return max(step, floor(value / step + Fraction(1, 2)) * step)


def _step_for(size: Fraction, unit: str) -> Fraction:
    """The step, in ml, g or pieces, for an amount of that many ml, g or pieces."""
    kind = UNITS[unit].kind
    if kind == "count":
        return Fraction(1, 4)
    if unit in ("oz", "lb"):
        ounce = UNITS["oz"].size
        return ounce / 4 if size < 16 * ounce else (ounce / 2 if size < 160 * ounce else ounce)
    if kind == "mass":
        return Fraction(1) if size < 50 else Fraction(5)
    steps = ((10, Fraction(1, 4)), (50, Fraction(1)), (250, Fraction(5)))
    return next((step for limit, step in steps if size < limit), Fraction(10))


def _round_scoops(value: Fraction, unit: str, role: Role) -> Fraction:
    exact = value * UNITS[unit].size / EIGHTH_ML
    whole = 6 * _BIG.get(unit, CUP)
    if exact.denominator == 1 and (exact < 96 or _scoops(int(exact) % CUP)[0] <= PATIENCE or exact % (CUP // 16) == 0):
        return value
    best = min(_candidates(exact, role, whole), key=lambda n: (_scoops(n % CUP)[0] + n // CUP, abs(n - exact), n))
    return best * EIGHTH_ML / UNITS[unit].size


def _candidates(exact: Fraction, role: Role, whole: int) -> list[int]:
    """Every eighth of a teaspoon within the tolerance on the allowed side; the next one when there is none."""
    way, slack = way_for(role), exact * TOLERANCE_BY_ROLE.get(role, TOLERANCE)
    low = ceil(exact if way is Way.UP else exact - slack)
    high = floor(exact if way is Way.DOWN else exact + slack)
    stride = next((step for step in (CUP, 96, TBSP) if step * 4 <= high - low and exact > whole), 1)
    found = [n for n in range(-(-low // stride) * stride, high + 1, stride) if n > 0]
    return found or [int(_to_step(exact, Fraction(1), way))]


@lru_cache(maxsize=CUP)
def _scoops(eighths: int) -> tuple[int, int, int]:
    """Fewest scoops for less than a cup: how many, how many of them spoons, the cup measure's eighths."""

    def spoons(rest: int) -> int:
        count = 0
        for spoon in (TBSP, TSP, 4, 2, 1):
            count += rest // spoon
            rest %= spoon
        return count

    ways = (
        (cups + spoons(eighths - part), spoons(eighths - part), part) for part, cups in CUP_PARTS if part <= eighths
    )
    return min(ways)


def _scoop_text(eighths: int, unit: str) -> str:
    parts = []
    if big := _BIG.get(unit):
        count, eighths = divmod(eighths, big)
        parts += [format_amount(Fraction(count), unit)] if count else []
    cups, rest = divmod(eighths, CUP)
    part = _scoops(rest)[2]
    if cups or part:
        parts.append(format_amount(cups + Fraction(part, CUP), "cup"))
    tablespoons, rest = divmod(rest - part, TBSP)
    parts += [f"{tablespoons} tbsp"] if tablespoons else []
    quarters, eighth = divmod(rest, 2)
    parts += [f"{format_number(Fraction(quarters, 4))} tsp"] if quarters else []
    parts += ["1/8 tsp"] if eighth else []
    return " + ".join(parts)


def _pound_text(value: Fraction) -> str:
    if (value * 4).denominator == 1:
        return format_amount(value, "lb")
    pounds, ounces = divmod(value * 16, 16)
    ounce_text = format_amount(ounces, "oz")
    return f"{pounds} lb {ounce_text}" if pounds else ounce_text
