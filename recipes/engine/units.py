"""Kitchen units and jar sizes, exact, and how they convert.

Volumes are counted in millilitres, masses in grams. The US gallon is 231 cubic inches and the inch
2.54 cm, the avoirdupois pound 0.45359237 kg, all exactly (NIST SP 811, appendix B; NIST Handbook 44,
appendix C). A 250 ml metric cup and a 10 fl oz imperial cup are units of their own, never "a cup".
"""

from __future__ import annotations

from fractions import Fraction
from typing import Literal, NamedTuple

Kind = Literal["volume", "mass", "count"]

US_CUP_ML = Fraction("236.5882365")
POUND_G = Fraction("453.59237")


class Unit(NamedTuple):
    """One unit: `size` is in ml, g or pieces; `words` are the spellings people type, in lower case."""

    name: str
    kind: Kind
    size: Fraction
    one: str
    many: str
    words: tuple[str, ...] = ()


def _volume(name: str, ml: Fraction, one: str, many: str, *words: str) -> Unit:
    return Unit(name, "volume", ml, one, many, words)


def _mass(name: str, grams: Fraction, *words: str) -> Unit:
    return Unit(name, "mass", grams, name, name, words)


def _count(one: str, many: str) -> Unit:
    return Unit(one, "count", Fraction(1), one, many)


_ALL = (
    _volume("tsp", US_CUP_ML / 48, "tsp", "tsp", "teaspoon", "teaspoons", "tsps", "ts"),
    _volume("tbsp", US_CUP_ML / 16, "tbsp", "tbsp", "tablespoon", "tablespoons", "tbsps", "tbs", "tb"),
    _volume("fl-oz", US_CUP_ML / 8, "fl oz", "fl oz", "fl oz", "floz", "fluid ounce", "fluid ounces"),
    _volume("cup", US_CUP_ML, "cup", "cups", "c", "us cup", "us cups"),
    _volume("pint", US_CUP_ML * 2, "pint", "pints", "pt", "pts"),
    _volume("quart", US_CUP_ML * 4, "quart", "quarts", "qt", "qts"),
    _volume("gallon", US_CUP_ML * 16, "gallon", "gallons", "gal", "gals"),
    _volume("ml", Fraction(1), "ml", "ml", "millilitre", "millilitres", "milliliter", "milliliters", "cc"),
    _volume("l", Fraction(1000), "l", "l", "litre", "litres", "liter", "liters", "ltr"),
    _volume("metric-cup", Fraction(250), "metric cup", "metric cups"),
    _volume("imperial-cup", Fraction("284.130625"), "imperial cup", "imperial cups"),
    _mass("g", Fraction(1), "gram", "grams", "gramme", "grammes", "gr", "gm", "gms"),
    _mass("kg", Fraction(1000), "kilo", "kilos", "kgs", "kilogram", "kilograms", "kilogramme", "kilogrammes"),
    _mass("oz", POUND_G / 16, "ounce", "ounces", "ozs"),
    _mass("lb", POUND_G, "lbs", "pound", "pounds"),
    Unit("each", "count", Fraction(1), "", "", ("whole", "piece", "pieces", "pc", "pcs")),
    _count("box", "boxes"),
    _count("pouch", "pouches"),
    _count("packet", "packets"),
    _count("can", "cans"),
    _count("jar", "jars"),
    _count("bottle", "bottles"),
    _count("clove", "cloves"),
    _count("head", "heads"),
    _count("stick", "sticks"),
    _count("slice", "slices"),
    _count("sprig", "sprigs"),
    _count("bunch", "bunches"),
)

UNITS: dict[str, Unit] = {unit.name: unit for unit in _ALL}

# Every spelling that `parse_amount` understands, to the unit's name.
SPELLINGS: dict[str, str] = {
    word: unit.name for unit in _ALL for word in (unit.name, unit.one, unit.many, *unit.words) if word
}

# Things sold and used whole: a fraction of one cannot be measured.
PACKETS = frozenset({"box", "pouch", "packet"})

# Jars by what they hold when full to the brim line the trade names them by, small to large.
JAR_ML: dict[str, Fraction] = {
    "quarter-pint": US_CUP_ML / 2,
    "half-pint": US_CUP_ML,
    "twelve-ounce": US_CUP_ML * 3 / 2,
    "pint": US_CUP_ML * 2,
    "pint-and-half": US_CUP_ML * 3,
    "quart": US_CUP_ML * 4,
    "half-gallon": US_CUP_ML * 8,
}
JAR_SIZES: tuple[str, ...] = tuple(JAR_ML)


class ConversionError(ValueError):
    """The two units measure different things, or one of them is not a unit we know."""


def convert(value: Fraction, from_unit: str, to_unit: str) -> Fraction:
    """`value` of one unit in another, exactly; volume to volume and mass to mass only."""
    for name in (from_unit, to_unit):
        if name not in UNITS:
            raise ConversionError(f"There is no unit called {name!r}.")
    source, target = UNITS[from_unit], UNITS[to_unit]
    if source.kind != target.kind or (source.kind == "count" and source is not target):
        raise ConversionError(f"{from_unit} cannot be turned into {to_unit} without knowing the food.")
    return value * source.size / target.size


def unit_kind(name: str) -> Kind:
    """Whether a unit measures volume or mass, or counts pieces."""
    return UNITS[name].kind
