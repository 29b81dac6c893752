"""Deciding: another sugar, pectin, salt, spice, fat, thickener or liquid in place of the recipe's."""

from __future__ import annotations

from collections.abc import Callable

from recipes.engine.change_facts import Facts, Line
from recipes.engine.change_foods import FRESH, HOMEMADE, Food, Phrase
from recipes.engine.change_judge_add import add_rule
from recipes.engine.change_judge_amount import fat_more, is_too_much, spice_added, sugar_less
from recipes.engine.change_kinds import PECTINS, SALTS, Kind
from recipes.engine.change_measure import TEASPOON_ML
from recipes.engine.change_terms import Change
from recipes.engine.terms import Role

_SAME_SUGARS = frozenset(
    {"white", "granulated", "cane", "beet", "table", "organic", "caster", "castor", "superfine", "preserving"}
)
_STRONG = frozenset({"molass", "molasses", "maple", "sorghum", "treacle"})


def shelf_swap(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    """The rule for one line that is neither acid nor produce, and one food in its place."""
    return _BY_ROLE[line.role](facts, line, food, phrase, change)


def _sugar(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    if food.kind not in (Kind.SUGAR, Kind.SYRUP, Kind.OTHER_SWEET, Kind.NO_SUGAR_SWEET, Kind.JUICE, Kind.WATER):
        return add_rule(facts, food, phrase, change.other_amount)
    if facts.is_low_acid or facts.is_fermented:
        return "NOT-COVERED"
    if food.kind is Kind.SUGAR:
        return "SUGAR-SAME" if set(food.name.split()) - {"sugar"} <= _SAME_SUGARS else "SUGAR-KIND"
    if food.kind is Kind.SYRUP:
        lean = facts.is_spread and not facts.is_high_acid_spread
        return "SUGAR-LESS-LOWACID-SPREAD" if lean else "HONEY-FOR-SUGAR"
    if food.kind is Kind.OTHER_SWEET:
        strong = facts.is_fruit_pack and set(food.name.split()) & _STRONG
        return "SYRUP-STRONG" if strong else "SWEETENER-NOT-TESTED"
    if food.kind is Kind.NO_SUGAR_SWEET:
        return _no_sugar(facts)
    if food.kind is Kind.JUICE:
        return "LIQUID-FRUIT" if facts.is_fruit_pack else "NOT-COVERED"
    return sugar_less(facts, None if change.factor is None else 1 - change.factor)


def _no_sugar(facts: Facts) -> str:
    if facts.is_spread or facts.is_freezer:
        return "SWEETENER-SPREAD"
    sauce = facts.kind == "sauce" and facts.is_high_acid_fruit and not facts.with_role(Role.THICKENER)
    needs_none = facts.is_fruit_pack or facts.is_pickle or facts.has_tomato or sauce
    return "SWEETENER-FRUIT" if needs_none else "SWEETENER-NOT-TESTED"


def _pectin(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    if food.kind not in PECTINS:
        added = add_rule(facts, food, phrase, change.other_amount)
        return added if added in ("GUM-ADD", "NEVER-STARCH", "NEVER-PUREE") else "NOT-COVERED"
    if food.kind is Kind.LOW_SUGAR_PECTIN:
        return "PECTIN-LOW-SUGAR"
    if HOMEMADE in phrase.forms or "bulk" in phrase.words or food.kind is Kind.PECTIN:
        return "NOT-COVERED"
    is_liquid = food.kind is Kind.LIQUID_PECTIN
    return "PECTIN-SAME" if (facts.recipe.pectin == "liquid") == is_liquid else "PECTIN-KIND"


def _salt(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    if food.kind not in SALTS:
        return add_rule(facts, food, phrase, change.other_amount)
    if food.kind is Kind.UNFIT_SALT:
        return "SALT-UNFIT"
    if food.kind is Kind.SALT:
        return "SALT-TABLE" if phrase.words & {"table", "iodized", "iodised", "fine"} else "SALT-CANNING"
    if facts.is_fermented:
        return "SALT-FERMENT"
    return "SALT-COARSE" if food.kind is Kind.COARSE_SALT else "SALT-SUBSTITUTE"


def _spice(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    if line.is_fresh_herb:
        if food.kind is Kind.SPICE:
            return "HERB-DRIED-FOR-FRESH"
        same = food.name in {known.name for known in line.phrase.foods}
        unclear = FRESH in phrase.forms and FRESH not in line.phrase.forms and line.ingredient.unit in ("tsp", "tbsp")
        if same and unclear:  # a spoonful of "oregano" may be the dried herb
            return "HERB-FRESH-FOR-DRIED"
        return "NO-CHANGE" if same and not change.other_amount else add_rule(facts, food, phrase, change.other_amount)
    if food.kind is Kind.SPICE:
        return spice_added(change.other_amount)
    small = change.other_amount is not None and not is_too_much(change.other_amount, TEASPOON_ML)
    if food.kind is Kind.HERB and not (small and facts.is_high_acid_spread):
        return "HERB-FRESH-FOR-DRIED"
    return add_rule(facts, food, phrase, change.other_amount)


def _fat(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    if food.kind is not Kind.BUTTER:
        return add_rule(facts, food, phrase, change.other_amount)
    return "FAT-FOAM" if change.other_amount is None else fat_more(facts, change.other_amount)


def _thickener(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    same = (
        food.name in {known.name for known in line.phrase.foods}
        or food.kind is Kind.MODIFIED_STARCH in line.phrase.kinds
    )
    if same and "instant" not in phrase.words:
        return "NO-CHANGE" if change.other_amount is None else "CANNOT-COMPARE"
    return "STARCH-KIND"


def _liquid(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    simple = food.kind in (Kind.WATER, Kind.JUICE, Kind.SYRUP)
    if food.kind in (Kind.VINEGAR, Kind.CITRUS_JUICE):
        stronger = facts.is_pickle and not facts.is_fermented and Kind.WATER in line.phrase.kinds
        return "BRINE-STRONGER" if stronger else "LIQUID-OTHER"
    if not simple:
        added = add_rule(facts, food, phrase, change.other_amount)
        return (
            added
            if added.startswith(("NEVER", "ALCOHOL", "ALKALI", "DRINK", "SAUCE", "ACID-OTHER"))
            else "LIQUID-OTHER"
        )
    if facts.is_fruit_pack:
        return "LIQUID-FRUIT"
    same = food.kind is Kind.WATER in line.phrase.kinds
    if same:
        return "NO-CHANGE" if change.other_amount is None else "CANNOT-COMPARE"
    return "LIQUID-SET" if facts.is_high_acid_spread and food.kind is not Kind.SYRUP else "LIQUID-OTHER"


def _none(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    return "NOT-COVERED"


_BY_ROLE: dict[Role, Callable[[Facts, Line, Food, Phrase, Change], str]] = {
    Role.SUGAR: _sugar,
    Role.PECTIN: _pectin,
    Role.SALT: _salt,
    Role.SPICE: _spice,
    Role.FAT: _fat,
    Role.THICKENER: _thickener,
    Role.LIQUID: _liquid,
    Role.FRUIT: _none,
    Role.LOW_ACID: _none,
    Role.ACID: _none,
}
