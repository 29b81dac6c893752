"""Comparing a new amount with the recipe's, exactly; None where the two cannot be compared."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from recipes.engine.change_facts import Line
from recipes.engine.change_text import tokens
from recipes.engine.quantities import Amount, ConversionError, convert
from recipes.engine.units import UNITS, US_CUP_ML

TEASPOON_ML = US_CUP_ML / 48


def millilitres(amount: Amount | None) -> Fraction | None:
    return _converted(amount, "ml") if amount else None


def total_of(lines: Sequence[Line], unit: str, *, high: bool = False) -> Fraction | None:
    """What the lines have together, in `unit`; by weight where the recipe or a table gives one."""
    total = Fraction(0)
    for line in lines:
        item = line.ingredient
        value = item.amount_high if high and item.amount_high is not None else item.amount
        part = _converted(Amount(value, item.unit), unit)
        if part is None and item.unit == "each" and unit in tokens(f"{item.item} {item.prep}"):
            part = value  # "cloves" of garlic counted as pieces
        if part is None and item.grams is not None and UNITS[unit].kind == "mass":
            part = convert(item.grams * value / item.amount, "g", unit) if item.amount else None
        if part is None:
            return None
        total += part
    return total


def _converted(amount: Amount, unit: str) -> Fraction | None:
    try:
        return convert(amount.value, amount.unit, unit)
    except ConversionError:
        return None


def ratio_to(lines: Sequence[Line], new: Amount) -> Fraction | None:
    """New over old. Within a printed range it is 1; below it new over its low end, above it new over its high end."""
    if new.unit not in UNITS:
        return None
    low, high = total_of(lines, new.unit), total_of(lines, new.unit, high=True)
    if not low or not high:
        return None
    if new.value < low:
        return new.value / low
    return new.value / high if new.value > high else Fraction(1)


def factor_after(lines: Sequence[Line], difference: Amount, sign: int) -> Fraction | None:
    """New over old after adding (sign 1) or taking away (sign -1) an amount."""
    old = total_of(lines, difference.unit) if difference.unit in UNITS else None
    return 1 + sign * difference.value / old if old else None
