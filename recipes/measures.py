"""Figures as a page shows them: safety figures in metric and US at once, amounts in the reader's units first."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor

from django.utils.translation import gettext as _

from recipes.engine.atmosphere import AltitudeError, boiling_point_c, jelly_point_c
from recipes.engine.quantities import UNITS, convert, format_amount, round_for_kitchen
from recipes.engine.terms import Altitude, Ingredient, TestedRecipe, TestedSource
from recipes.engine.wording import format_number
from recipes.words import ROLES

KPA_PER_PSI = Fraction("6.894757")
METRIC_UNITS = frozenset({"ml", "l", "g", "kg", "metric-cup"})


@dataclass(frozen=True)
class IngredientLine:
    """One ingredient for one pot: `amount` in the reader's units, `beside` in the others ("" for counted things)."""

    item: str
    prep: str
    role: str
    role_word: str
    amount: str
    beside: str
    as_bought: str
    optional: bool


@dataclass(frozen=True)
class KitchenPoints:
    """Where water boils and a spread sets in one kitchen, in both scales."""

    altitude: str
    boiling: str
    jelly: str
    jelly_above_f: str


def altitude_text(altitude: Altitude) -> str:
    """ "1,040 m (3,412 ft)" """
    return _("%(metres)s m (%(feet)s ft)") % {
        "metres": f"{round(altitude.metres):,}",
        "feet": f"{round(altitude.feet):,}",
    }


def temperature_text(celsius: float) -> str:
    """ "96.5 °C (205.7 °F)" """
    return f"{celsius:.1f} °C ({celsius * 9 / 5 + 32:.1f} °F)"


def pressure_text(psi: int) -> str:
    """ "11 psi (76 kPa)"; kilopascals are rounded up, so that they never ask for less."""
    return _("%(psi)s psi (%(kpa)s kPa)") % {"psi": psi, "kpa": ceil(psi * KPA_PER_PSI)}


def headspace_text(inches: Fraction) -> str:
    """ "1/4 in (6 mm)" """
    millimetres = floor(inches * Fraction("25.4") + Fraction(1, 2))
    return _("%(inches)s in (%(mm)s mm)") % {"inches": format_number(inches), "mm": millimetres}


def source_words(source: TestedSource) -> str:
    return ", ".join(part for part in (source.title, source.edition, source.place) if part)


def kitchen_points(altitude: Altitude | None, recipe: TestedRecipe | None = None) -> KitchenPoints | None:
    """Boiling point and jelly point here; None where the altitude is not known or no kitchen has it."""
    above_f = (recipe and recipe.endpoint_f_above_boiling) or Fraction(8)
    if altitude is None:
        return None
    try:
        return KitchenPoints(
            altitude=altitude_text(altitude),
            boiling=temperature_text(boiling_point_c(altitude)),
            jelly=temperature_text(jelly_point_c(altitude, above_f)),
            jelly_above_f=format_number(above_f),
        )
    except AltitudeError:
        return None


def ingredient_lines(recipe: TestedRecipe, units: str) -> list[IngredientLine]:
    """The ingredients of one pot; `units` is "metric" or "us" and says which figure comes first."""
    return [_line(line, units) for line in recipe.ingredients]


def _line(line: Ingredient, units: str) -> IngredientLine:
    amount, beside = amount_pair(line, units)
    return IngredientLine(
        item=line.item,
        prep=line.prep,
        role=line.role.value,
        role_word=str(ROLES[line.role]),
        amount=amount,
        beside=beside,
        as_bought=line.as_bought,
        optional=line.optional,
    )


def amount_pair(line: Ingredient, units: str, *, customary: str = "") -> tuple[str, str]:
    """The amount in the reader's units, and beside it in the other ones ("" for counted things).

    `customary` is the text for a line that the engine has worded already, in the recipe's own unit.
    """
    if line.unit in METRIC_UNITS:
        metric, other = customary or _metric(line), _customary(line)
    else:
        metric, other = _metric(line), customary or _customary(line)
    first, second = (metric, other) if units == "metric" else (other, metric)
    return first or second, second if first and second != first else ""


def _customary(line: Ingredient) -> str:
    """As printed where that is US; else turned into cups or ounces. Counted things are as printed too."""
    if line.unit not in METRIC_UNITS:
        return _as_printed(line)
    return _turned(line, "cup" if UNITS[line.unit].kind == "volume" else "oz")


def _metric(line: Ingredient) -> str:
    """Grams where a weight is given with the recipe; else the same volume or weight; "" for counted things."""
    if line.unit in METRIC_UNITS:
        return _as_printed(line)
    if line.grams is not None:
        low, high = line.grams, line.grams * (line.amount_high or line.amount) / line.amount
        return _range(low, high, "g", line)
    kind = UNITS[line.unit].kind
    return "" if kind == "count" else _turned(line, "ml" if kind == "volume" else "g")


def _as_printed(line: Ingredient) -> str:
    text = format_amount(line.amount_high or line.amount, line.unit)
    if line.amount_high is None:
        return text
    return _("%(low)s to %(high)s") % {"low": format_number(line.amount), "high": text}


def _turned(line: Ingredient, unit: str) -> str:
    low = convert(line.amount, line.unit, unit)
    return _range(low, convert(line.amount_high or line.amount, line.unit, unit), unit, line)


def _range(low: Fraction, high: Fraction, unit: str, line: Ingredient) -> str:
    texts = [_readable(value, unit, line) for value in (low, high)]
    return texts[0] if low == high else _("%(low)s to %(high)s") % {"low": texts[0], "high": texts[1]}


def _readable(value: Fraction, unit: str, line: Ingredient) -> str:
    """Rounded the way the ingredient's role allows; from 1,000 g or ml in kg or l."""
    rounded = round_for_kitchen(value, unit, line.role)
    large = {"g": "kg", "ml": "l"}.get(unit)
    if large and rounded.value >= 1000:
        return format_amount(rounded.value / 1000, large)
    return rounded.text
