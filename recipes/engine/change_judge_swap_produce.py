"""Deciding: another vegetable or fruit in place of the recipe's."""

from __future__ import annotations

from recipes.engine.change_facts import Facts, Line
from recipes.engine.change_foods import Food, Phrase
from recipes.engine.change_judge_add import add_rule, low_fruit
from recipes.engine.change_judge_amount import leaves_nothing, spice_added
from recipes.engine.change_kinds import Kind
from recipes.engine.change_measure import ratio_to
from recipes.engine.change_terms import Change

_BULB_ONIONS = frozenset(
    {"onion", "white onion", "red onion", "yellow onion", "sweet onion", "brown onion", "vidalia", "vidalia onion"}
)
_SNAP_BEANS = frozenset(
    {
        "green bean",
        "yellow bean",
        "wax bean",
        "yellow wax bean",
        "snap bean",
        "string bean",
        "french bean",
        "italian bean",
    }
)
_TOMATOES = frozenset({Kind.TOMATO, Kind.GREEN_TOMATO, Kind.TOMATO_PRODUCT})


def vegetable_swap(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    """The rule for one low-acid line and one food in its place."""
    if food.kind is Kind.SPICE:
        return (
            "VEGETABLE-MAIN" if leaves_nothing(facts, [line]) or facts.is_low_acid else spice_added(change.other_amount)
        )
    rule = _same_sort(line, food)
    if rule:
        return _no_more(line, change, rule)
    if food.kind in line.phrase.kinds:
        return "VEGETABLE-SWAP"
    added = add_rule(facts, food, phrase, change.other_amount)
    return added if added.startswith(("NEVER", "NUT", "ALKALI")) else "VEGETABLE-SWAP"


def _same_sort(line: Line, food: Food) -> str | None:
    names = {known.name for known in line.phrase.foods}
    if food.kind is Kind.PEPPER and Kind.PEPPER in line.phrase.kinds:
        return "PEPPER-SWAP"
    if food.name in _BULB_ONIONS and names & _BULB_ONIONS:
        return "ONION-SWAP"
    if food.name in _SNAP_BEANS and names & _SNAP_BEANS:
        return "BEAN-COLOUR"
    return "SAME-FOOD" if food.name in names else None


def _no_more(line: Line, change: Change, rule: str) -> str:
    """A swap is of equal measure; a stated measure must not be more than what it replaces."""
    if change.other_amount is None:
        return rule
    replaced = change.amount
    if replaced is not None and replaced.unit == change.other_amount.unit:
        within = change.other_amount.value <= replaced.value and (ratio_to([line], replaced) or 1) <= 1
        return rule if within else "VEGETABLE-MORE"
    ratio = ratio_to([line], change.other_amount)
    if ratio is None:
        return "CANNOT-COMPARE"
    return rule if ratio <= (change.factor or 1) else "VEGETABLE-MORE"


def fruit_swap(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    """The rule for one fruit or tomato line and one food in its place."""
    if line.phrase.kinds & _TOMATOES:
        return _tomato_swap(facts, line, food, phrase, change)
    if food.kind is Kind.LOW_FRUIT:
        return low_fruit(food)
    if food.kind is Kind.BORDERLINE:
        return "SAME-FOOD" if food.name in {known.name for known in line.phrase.foods} else "FRUIT-LOW-ACID"
    if food.kind in (Kind.FRUIT, Kind.JUICE):
        return _high_acid_swap(facts, line, food)
    return _refused_or(add_rule(facts, food, phrase, change.other_amount))


def _high_acid_swap(facts: Facts, line: Line, food: Food) -> str:
    if food.name == "fruit" or food.name in {known.name for known in line.phrase.foods}:
        return "SAME-FOOD"
    if facts.is_high_acid_spread:
        return "FRUIT-SWAP"
    if facts.is_mixture:
        return "FRUIT-IN-MIXTURE"
    return "FRUIT-OTHER-PROCESS" if facts.is_high_acid_fruit else "NOT-COVERED"


def _tomato_swap(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    kinds = line.phrase.kinds
    if food.kind in (Kind.TOMATO, Kind.GREEN_TOMATO) and change.other_amount is not None:
        ratio = ratio_to([line], change.other_amount)
        if ratio is None or ratio != (change.factor or 1):
            return "TOMATO-AMOUNT"
    if food.kind is Kind.TOMATO:
        return "TOMATO-KIND" if Kind.TOMATO in kinds else "TOMATO-RIPE"
    if food.kind is Kind.GREEN_TOMATO:
        return "TOMATO-GREEN" if kinds & {Kind.TOMATO, Kind.GREEN_TOMATO} else "TOMATO-AMOUNT"
    if food.kind is Kind.TOMATO_PRODUCT:
        return "NO-CHANGE" if food.name in {known.name for known in line.phrase.foods} else "CANNED-OTHER"
    return _refused_or(add_rule(facts, food, phrase, change.other_amount))


def _refused_or(code: str) -> str:
    """What is allowed beside the produce is not allowed instead of it."""
    allowed_beside = {
        "SPICE-DRY",
        "COLOUR",
        "ACID-MORE",
        "ACID-MORE-SET",
        "SUGAR-MORE",
        "SUGAR-MORE-SPREAD",
        "LIQUID-SET",
    }
    allowed_beside |= {
        "LIQUID-FRUIT",
        "SALT-MORE",
        "SALT-TASTE",
        "HERB-TEASPOON",
        "FLAVOUR-FRUIT",
        "FAT-FOAM",
        "CALCIUM-CRISP",
    }
    allowed_beside |= {"FRUIT-ADD-SPREAD", "PECTIN-MORE", "SYRUP-STRONG", "SWEETENER-FRUIT", "SALT-SUBSTITUTE"}
    return "VEGETABLE-MAIN" if code in allowed_beside else code
