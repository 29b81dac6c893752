"""Numbers and amounts in words: "2 1/4", "2 1/4 cups", "1.25 kg"."""

from __future__ import annotations

from fractions import Fraction

from recipes.engine.units import UNITS

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
