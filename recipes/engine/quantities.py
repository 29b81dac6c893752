"""Amounts as people write and read them: "2 1/4 cups", "2¼ c", "3 lb 4 oz", "1,5 kg".

Reading is strict: what could mean two things is refused with a sentence that says how to write it.
Converting lives in `units`, rounding to what a kitchen can measure in `kitchen`; both are named here too.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction

from recipes.engine.kitchen import KitchenAmount, round_for_kitchen
from recipes.engine.units import JAR_ML, JAR_SIZES, SPELLINGS, UNITS, ConversionError, convert
from recipes.engine.wording import format_amount

__all__ = [
    "JAR_ML",
    "JAR_SIZES",
    "UNITS",
    "Amount",
    "AmountError",
    "ConversionError",
    "KitchenAmount",
    "convert",
    "format_amount",
    "parse_amount",
    "parse_number",
    "round_for_kitchen",
]

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
