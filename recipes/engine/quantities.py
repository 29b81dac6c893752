"""Kitchen units, amounts and jar sizes: exact, how they convert, how they are written and read.

Volumes are counted in millilitres, masses in grams. The US gallon is 231 cubic inches and the inch
2.54 cm, the avoirdupois pound 0.45359237 kg, all exactly (NIST SP 811, appendix B; NIST Handbook 44,
appendix C). A 250 ml metric cup and a 10 fl oz imperial cup are units of their own, never "a cup".
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
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


class AmountError(ValueError):
    """The text is not one amount; the message says what to write instead."""


@dataclass(frozen=True)
class Amount:
    """A positive amount of something in one of `UNITS`."""

    value: Fraction
    unit: str


def parse_amount(text: str) -> Amount:
    """The amount that `text` says, in the first unit it names ("3 lb 4 oz" is 3 1/4 lb)."""
    plain = plain_text(text)
    if not plain:
        raise AmountError("Write an amount with its unit, such as 2 1/4 cups or 1.5 kg.")
    if len(plain) > LONGEST_TEXT:
        raise AmountError("That is too long for an amount. Write it like 2 1/4 cups or 1.5 kg.")
    if _VAGUE & set(re.findall(r"[a-z]+", plain.lower())):
        raise AmountError(f"{plain!r} cannot be measured. Write an amount, such as 1/8 tsp.")
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
            raise AmountError(f"{text!r} is not one number. Write it like 2 1/4; give one amount, not a range.")
        return whole + Fraction(top, bottom)
    if fraction := _FRACTION.fullmatch(text):
        top, bottom = int(fraction[1]), int(fraction[2])
        if bottom == 0:
            raise AmountError("A fraction cannot have 0 below its line.")
        return Fraction(top, bottom)
    return _parse_decimal(text, comma_groups=comma_groups)


def _parse_decimal(text: str, *, comma_groups: bool) -> Fraction:
    if _GROUPED.fullmatch(text):
        if "," in text and not comma_groups:
            plain = text.replace(",", "")
            raise AmountError(f"{text!r} could be {plain} or {text.replace(',', '.')}. Write one of those.")
        return Fraction(text.replace(",", "").replace(" ", ""))
    if _DECIMAL.fullmatch(text):
        return Fraction(text.replace(",", "."))
    raise AmountError(f"{text!r} is not a number we can read. Write it like 2, 1/2, 2 1/4 or 1.5; no ranges.")


def _parse_part(part: str, whole: str) -> Amount:
    match = _PART.fullmatch(part.strip())
    if match is None:
        if re.fullmatch(r"[0-9.,/ -]+", part.strip()):
            raise AmountError(f"{whole!r} has no unit. Say what it counts, such as cups, lb, kg or each.")
        raise AmountError(f"{whole!r} is not an amount. Write it like 2 1/4 cups, 3 lb 4 oz or 1.5 kg.")
    unit = _unit_named(match[2])
    value = parse_number(match[1].strip(), comma_groups=unit in _THOUSANDS_ARE_USUAL)
    return Amount(value, unit)


def _unit_named(word: str) -> str:
    # A lone T is a tablespoon and a lone t a teaspoon, as American recipes write them.
    letter = {"T": "tbsp", "t": "tsp"}.get(word.strip().rstrip("."))
    spelled = " ".join(word.lower().replace(".", " ").split())
    name = letter or SPELLINGS.get(spelled)
    if name is None:
        known = "tsp, tbsp, cup, pint, quart, gallon, ml, l, g, kg, oz, lb, each, box, pouch, can"
        raise AmountError(f"{word.strip()!r} is not a unit we know. Use one of: {known}.")
    return name


def _sum_of(parts: list[Amount], whole: str) -> Amount:
    first = parts[0]
    try:
        total = sum((convert(part.value, part.unit, first.unit) for part in parts), Fraction(0))
    except ConversionError as error:
        raise AmountError(f"{whole!r} mixes things that cannot be added up. Write one amount in one unit.") from error
    if total <= 0:
        raise AmountError("An amount must be more than nothing.")
    if total > LARGEST:
        raise AmountError("That is more than any kitchen holds. Check the number and the unit.")
    return Amount(total, first.unit)
