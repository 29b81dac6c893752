"""Deciding: another acid in place of the recipe's."""

from __future__ import annotations

import re
from fractions import Fraction

from recipes.engine.change_facts import Facts, Line
from recipes.engine.change_foods import BOTTLED, FRESH, HOMEMADE, Food, Phrase
from recipes.engine.change_judge_add import vinegar_rule
from recipes.engine.change_kinds import Kind
from recipes.engine.change_measure import ratio_to
from recipes.engine.change_terms import Change
from recipes.engine.quantities import Amount, ConversionError, convert

_PERCENT = r"([0-9]+(?:[.,][0-9]+)?) ?%"
CITRIC_TSP_A_TBSP = Fraction(1, 4)


def acid_swap(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    """The rule for one acid line and one food in its place; the measure counts where it is given."""
    if change.amount is not None and ratio_to([line], change.amount) != 1:
        return "ACID-LESS"  # not the tested measure: whether the rest of it stays is not known
    if food.kind is Kind.CITRIC:
        return _citric(facts, line, change)
    if food.kind is Kind.VINEGAR:
        return _vinegar(facts, line, phrase, change)
    all_bottled = BOTTLED in phrase.forms or change.item.endswith(" bottled")  # "lime for lemon (bottled)"
    if food.kind is Kind.CITRUS_JUICE or (food.kind is Kind.CITRUS and all_bottled):
        return _juice(facts, line, food, phrase, change)
    return "ACID-FRESH" if food.kind is Kind.CITRUS else "ACID-OTHER"


def percent_said(change: Change) -> float | None:
    found = re.search(_PERCENT, f"{change.other} {change.item}")
    return float(found[1].replace(",", ".")) if found else None


def _juice(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    if phrase.forms & {FRESH, HOMEMADE}:
        return "ACID-FRESH"
    if phrase.forms - {BOTTLED}:  # dried, powdered, frozen: not what was tested
        return "ACID-OTHER"
    kinds = line.phrase.kinds
    if kinds & {Kind.CITRUS_JUICE, Kind.CITRUS}:
        rule = _other_citrus(line, food, phrase)
    elif Kind.VINEGAR in kinds and facts.is_salsa:
        rule = "ACID-LEMON-FOR-VINEGAR" if BOTTLED in phrase.forms else "ACID-FRESH"
    elif Kind.CITRIC in kinds and facts.is_acidified_alone:
        return _enough(line, change, "ACID-TOMATO-CITRIC", tbsp_for_tsp=True)
    else:
        return "ACID-OTHER"
    return rule if _at_least(line, change, Fraction(1)) is not False else "ACID-LESS"


def _other_citrus(line: Line, food: Food, phrase: Phrase) -> str:
    same_fruit = bool({"lemon", "lime"} & set(food.name.split()) & line.phrase.words)
    if BOTTLED in phrase.forms or food.kind is Kind.CITRUS:  # "lime for lemon (bottled)" says it of both
        return "ACID-BOTTLED" if same_fruit else "ACID-LEMON-LIME"
    # Juice that is not said to be bottled may be fresh; where the recipe does not ask for bottled, it is as tested.
    return "NO-CHANGE" if same_fruit and not line.is_bottled else "ACID-FRESH"


def _vinegar(facts: Facts, line: Line, phrase: Phrase, change: Change) -> str:
    if Kind.VINEGAR in line.phrase.kinds:
        enough = _at_least(line, change, Fraction(1)) is not False
        return vinegar_rule(phrase, percent_said(change)) if enough else "ACID-LESS"
    sure = vinegar_rule(phrase, percent_said(change)) in ("VINEGAR-KIND", "VINEGAR-OTHER")
    doubled = _at_least(line, change, Fraction(2)) is True and Kind.CITRUS_JUICE in line.phrase.kinds
    return "ACID-TOMATO-VINEGAR" if facts.is_acidified_alone and sure and doubled else "ACID-VINEGAR-FOR-LEMON"


def _citric(facts: Facts, line: Line, change: Change) -> str:
    if Kind.CITRUS_JUICE not in line.phrase.kinds or not facts.is_acidified_alone:
        return "ACID-OTHER"
    return _enough(line, change, "ACID-TOMATO-CITRIC", tbsp_for_tsp=False)


def _enough(line: Line, change: Change, rule: str, *, tbsp_for_tsp: bool) -> str:
    """A stated measure of citric acid for juice, or of juice for citric acid, must reach 1/4 tsp for 1 tbsp."""
    if change.other_amount is None:
        return rule
    replaced = change.amount or Amount(line.ingredient.amount, line.ingredient.unit)
    new, old = _in_tsp(change.other_amount), _in_tsp(replaced)
    if new is None or old is None:
        return "CANNOT-COMPARE"
    needed = old * 12 if tbsp_for_tsp else old / 12
    return rule if new >= needed else "ACID-LESS"


def _in_tsp(amount: Amount) -> Fraction | None:
    try:
        return convert(amount.value, amount.unit, "tsp")
    except ConversionError:
        return None


def _at_least(line: Line, change: Change, times: Fraction) -> bool | None:
    """Whether the new measure is at least `times` what it replaces; None when no measure is given."""
    if change.other_amount is None:
        return None
    if change.amount is not None:
        new, old = _in_tsp(change.other_amount), _in_tsp(change.amount)
        return new is not None and old is not None and new >= old * times and ratio_to([line], change.amount) == 1
    ratio = ratio_to([line], change.other_amount)
    share = change.factor if change.factor is not None else Fraction(1)
    return ratio is not None and ratio >= times * share
