"""Comparing a new amount with the recipe's, exactly; None where the two cannot be compared."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from recipes.engine.change_facts import Facts, Line
from recipes.engine.change_foods import read_phrase, without_percent
from recipes.engine.change_kinds import ACIDS
from recipes.engine.change_terms import Act, Change
from recipes.engine.change_text import tokens
from recipes.engine.quantities import (
    JAR_ML,
    JAR_SIZES,
    UNITS,
    US_CUP_ML,
    Amount,
    ConversionError,
    convert,
    parse_amount,
)
from recipes.engine.terms import Role

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


_EACH = r"([0-9]+(?: [0-9]+/[0-9]+|/[0-9]+)?) ([a-z]+) in each (half-pint|pint|quart)"


def for_the_pot(facts: Facts, change: Change) -> Change | None:
    """A change whose amount was said for each jar, with the amount of the pot; None where that cannot be told.

    Acid is counted only where the recipe itself states its measure for that jar; "each jar" is the largest stated.
    """
    said = change.other_amount if change.act is Act.SWAP else change.amount
    if not change.per_jar or said is None:
        return None if change.per_jar and change.other_amount else change
    name = change.other if change.act is Act.SWAP else change.item
    kinds = read_phrase(without_percent(name)).kinds
    times = _acid_times(facts, change.per_jar) if kinds & ACIDS else _jars_of_a_pot(facts, change.per_jar)
    if times is None:
        return None
    amount = Amount(said.value * times, said.unit)
    return replace(change, other_amount=amount) if change.act is Act.SWAP else replace(change, amount=amount)


def _acid_times(facts: Facts, jar: str) -> Fraction | None:
    """How many times the measure of one jar the pot holds, by the one acid line and what it states for that jar."""
    lines = facts.with_role(Role.ACID)
    if len(lines) != 1:
        return None
    item = lines[0].ingredient
    stated = {size: _converted(parse_amount(f"{number} {unit}"), item.unit) for number, unit, size in _each(item.prep)}
    sizes = [size for size in JAR_SIZES if stated.get(size)]
    found = stated.get(sizes[-1] if jar == "jar" and sizes else jar)
    return item.amount / found if found else None


def _each(prep: str) -> list[tuple[str, str, str]]:
    return re.findall(_EACH, prep)


def _jars_of_a_pot(facts: Facts, jar: str) -> Fraction:
    """The most jars that a pot fills; "each jar" is the smallest that the recipe has a process for."""
    sizes = [size for size in JAR_SIZES if any(row.jar == size for row in facts.recipe.process)]
    size = jar if jar in JAR_ML else sizes[0] if sizes else facts.recipe.stated_yield.jar
    stated = facts.recipe.stated_yield
    return stated.high * JAR_ML[stated.jar] / JAR_ML[size]
