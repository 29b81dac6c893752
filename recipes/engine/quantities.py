"""Kitchen units, amounts and jar sizes: exact, how they convert, are written and read, and rounded for a kitchen.

Volumes are counted in millilitres, masses in grams. The US gallon is 231 cubic inches and the inch
2.54 cm, the avoirdupois pound 0.45359237 kg, all exactly (NIST SP 811, appendix B; NIST Handbook 44,
appendix C). A 250 ml metric cup and a 10 fl oz imperial cup are units of their own, never "a cup".
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from functools import lru_cache
from math import ceil, floor
from typing import Literal, NamedTuple

from recipes.engine.messages import TextError
from recipes.engine.terms import Role

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


# Writing: "2 1/4", "2 1/4 cups", "1.25 kg".

_DECIMAL_UNITS = frozenset({"ml", "l", "g", "kg"})


def format_number(value: Fraction) -> str:
    """A mixed number where its fraction is one that kitchens know, else a decimal to two places."""
    if value.denominator > 16:
        return format_decimal(value, places=2)
    sign, value = ("-", -value) if value < 0 else ("", value)
    whole, rest = divmod(value, 1)
    if not rest:
        return f"{sign}{whole}"
    return f"{sign}{whole} {rest}" if whole else f"{sign}{rest}"


def format_decimal(value: Fraction, *, places: int) -> str:
    """A decimal of at most so many places, without trailing zeros."""
    scaled = round(value * 10**places)
    sign, digits = ("-" if scaled < 0 else ""), str(abs(scaled)).rjust(places + 1, "0")
    whole, rest = digits[: len(digits) - places], digits[len(digits) - places :].rstrip("0")
    return f"{sign}{whole}.{rest}" if rest else f"{sign}{whole}"


def format_amount(value: Fraction, unit: str) -> str:
    """The amount as a cook writes it: "2 1/4 cups", "1 box", "560 ml"; "each" is left unsaid."""
    number = format_decimal(value, places=3) if unit in _DECIMAL_UNITS else format_number(value)
    word = UNITS[unit].many if value > 1 else UNITS[unit].one
    return f"{number} {word}".rstrip()


# Reading: "2 1/4 cups", "2¼ c", "3 lb 4 oz", "1,5 kg". It is strict: what could mean two things is refused with a
# sentence that says how to write it.

LONGEST_TEXT = 60
LARGEST = 10**7

_VAGUE = frozenset({"pinch", "pinches", "dash", "dashes", "handful", "handfuls", "some", "few", "splash", "taste"})
_NEXT_PART = re.compile(r"(?<=[A-Za-z])\.?\s*(?:\+|\band\b|,)?\s*(?=\.?[0-9])")
_PART = re.compile(r"([0-9.][0-9.,/ -]*?)\s*([A-Za-z][A-Za-z. -]*)")
_MIXED = re.compile(r"([0-9]+)[ -]([0-9]+)/([0-9]+)")
_FRACTION = re.compile(r"([0-9]+)/([0-9]+)")
_GROUPED = re.compile(r"[1-9][0-9]{0,2}(?:([ ,])[0-9]{3})(?:\1[0-9]{3})*(?:\.[0-9]+)?")
_DECIMAL = re.compile(r"[0-9]*[.,]?[0-9]+")

# A comma before three digits groups thousands in these; "1,250 kg" could be either and is refused.
_THOUSANDS_ARE_USUAL = frozenset({"g", "ml"})


class AmountError(TextError):
    """The text is not one amount; the message says what to write instead."""


@dataclass(frozen=True)
class Amount:
    """A positive amount of something in one of `UNITS`."""

    value: Fraction
    unit: str

    def __str__(self) -> str:
        return format_amount(self.value, self.unit)


def parse_amount(text: str) -> Amount:
    """The amount that `text` says, in the first unit it names ("3 lb 4 oz" is 3 1/4 lb)."""
    plain = plain_text(text)
    if not plain:
        raise AmountError("amount.missing")
    if len(plain) > LONGEST_TEXT:
        raise AmountError("amount.too-long")
    if _VAGUE & set(re.findall(r"[a-z]+", plain.lower())):
        raise AmountError("amount.vague", text=plain)
    parts = [_parse_part(part, plain) for part in _NEXT_PART.split(plain)]
    return _sum_of(parts, plain)


def plain_text(text: str) -> str:
    """`text` with one kind of space, ASCII digits and fractions spelled n/d ("2¼" becomes "2 1/4")."""
    spaced = "".join(f" {char}" if unicodedata.decomposition(char).startswith("<fraction>") else char for char in text)
    folded = unicodedata.normalize("NFKC", spaced).replace("\u2044", "/")
    folded = folded.replace("\u2212", "-").replace("\u2013", "-").replace("\u2014", "-")
    return re.sub(r"\s*/\s*", "/", " ".join(folded.split()))


def parse_number(text: str, *, comma_groups: bool) -> Fraction:
    """A number written as 2, 1/2, 2 1/4, 1.5, 1,5 or 1,040. Raises `AmountError`.

    `comma_groups` says what a comma before exactly three digits means: thousands when true,
    refused as unclear when false.
    """
    if mixed := _MIXED.fullmatch(text):
        whole, top, bottom = (int(group) for group in mixed.groups())
        if not 0 < top < bottom:
            raise AmountError("number.not-one", text=text)
        return whole + Fraction(top, bottom)
    if fraction := _FRACTION.fullmatch(text):
        top, bottom = int(fraction[1]), int(fraction[2])
        if bottom == 0:
            raise AmountError("number.over-zero")
        return Fraction(top, bottom)
    return _parse_decimal(text, comma_groups=comma_groups)


def _parse_decimal(text: str, *, comma_groups: bool) -> Fraction:
    if _GROUPED.fullmatch(text):
        if "," in text and not comma_groups:
            grouped, decimal = text.replace(",", ""), text.replace(",", ".")
            raise AmountError("number.two-ways", text=text, grouped=grouped, decimal=decimal)
        return Fraction(text.replace(",", "").replace(" ", ""))
    if _DECIMAL.fullmatch(text):
        return Fraction(text.replace(",", "."))
    raise AmountError("number.unread", text=text)


def _parse_part(part: str, whole: str) -> Amount:
    match = _PART.fullmatch(part.strip())
    if match is None:
        if re.fullmatch(r"[0-9.,/ -]+", part.strip()):
            raise AmountError("amount.no-unit", text=whole)
        raise AmountError("amount.not-one", text=whole)
    unit = _unit_named(match[2])
    value = parse_number(match[1].strip(), comma_groups=unit in _THOUSANDS_ARE_USUAL)
    return Amount(value, unit)


def _unit_named(word: str) -> str:
    # A lone T is a tablespoon and a lone t a teaspoon, as American recipes write them.
    letter = {"T": "tbsp", "t": "tsp"}.get(word.strip().rstrip("."))
    spelled = " ".join(word.lower().replace(".", " ").split())
    name = letter or SPELLINGS.get(spelled)
    if name is None:
        raise AmountError("amount.unit-unknown", text=word.strip())
    return name


def _sum_of(parts: list[Amount], whole: str) -> Amount:
    first = parts[0]
    try:
        total = sum((convert(part.value, part.unit, first.unit) for part in parts), Fraction(0))
    except ConversionError as error:
        raise AmountError("amount.mixed", text=whole) from error
    if total <= 0:
        raise AmountError("amount.nothing")
    if total > LARGEST:
        raise AmountError("amount.too-much")
    return Amount(total, first.unit)


# Rounding to what a kitchen can measure.
#
# An amount is rounded by what the ingredient does in the jar. Acid is never rounded down and low-acid vegetables never
# up, however small the step: the balance of the two is what keeps the jar safe. Pectin goes by whole packets. An amount
# that the measures can already give is left as it is. The tolerances and steps are common practice, no source.

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
    if unit in _SCOOPED:
        rounded = _round_scoops(value, unit, role)
    elif role is Role.PECTIN and unit in PACKETS:
        rounded = Fraction(max(1, floor(value + Fraction(1, 2))))
    else:
        size = UNITS[unit].size
        rounded = _to_step(value, _step_for(value * size, unit) / size, way_for(role))
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
