"""Deciding: something put in that the recipe does not have."""

from __future__ import annotations

from recipes.engine.change_facts import Facts, unrelated
from recipes.engine.change_foods import BOTTLED, FRESH, HOMEMADE, Food, Phrase, read_phrase
from recipes.engine.change_grammar_food import ADDED
from recipes.engine.change_judge_amount import (
    Decision,
    acid_more,
    fat_more,
    is_too_much,
    liquid_more,
    more,
    set_to,
    spice_added,
    sugar_more,
)
from recipes.engine.change_kinds import ACIDS, LOW_ACID, PECTINS, SALTS, Kind
from recipes.engine.change_measure import TEASPOON_ML, factor_after
from recipes.engine.change_terms import Change
from recipes.engine.quantities import Amount
from recipes.engine.terms import Role

# Additions that no recipe allows, whatever it is. The order is that of telling: the plainest reason first.
_ALWAYS: dict[Kind, str] = {
    Kind.PUREE: "NEVER-PUREE",
    Kind.OIL: "NEVER-OIL",
    Kind.DAIRY: "NEVER-DAIRY",
    Kind.EGG: "NEVER-EGGS",
    Kind.MEAT: "NEVER-MEAT-FISH",
    Kind.FISH: "NEVER-MEAT-FISH",
    Kind.BROTH: "NEVER-MEAT-FISH",
    Kind.GRAIN: "NEVER-PASTA-RICE",
    Kind.STARCH: "NEVER-STARCH",
    Kind.BREAD: "NEVER-BREAD",
    Kind.READY: "NEVER-BREAD",
    Kind.ALKALI: "ALKALI",
    Kind.NUT: "NUT-ADD",
    Kind.CHOCOLATE: "CHOCOLATE-ADD",
    Kind.ALCOHOL: "ALCOHOL-ADD",
    Kind.SAUCE: "SAUCE-ADD",
    Kind.DRINK: "DRINK-ADD",
    Kind.ADDITIVE: "ADDITIVE",
    Kind.GUM: "GUM-ADD",
    Kind.ALUM: "ALUM",
    Kind.OTHER_ACID: "ACID-OTHER",
    Kind.TOMATO: "TOMATO-AMOUNT",
    Kind.GREEN_TOMATO: "TOMATO-AMOUNT",
    Kind.TOMATO_PRODUCT: "TOMATO-PASTE",
    Kind.DRIED_FRUIT: "FRUIT-DRIED",
    Kind.BORDERLINE: "FRUIT-LOW-ACID",
    Kind.FRESH_ROOT: "HERB-FRESH-MORE",
    Kind.COLOUR: "COLOUR",
    Kind.UNFIT_SALT: "SALT-UNFIT",
    Kind.LOW_SUGAR_PECTIN: "PECTIN-LOW-SUGAR",
}
_VEGETABLES: dict[Kind, str] = {
    Kind.VEGETABLE: "VEGETABLE-ADD",
    Kind.LEGUME: "VEGETABLE-ADD",
    Kind.PUMPKIN: "VEGETABLE-ADD",
    Kind.SUMMER_SQUASH: "NEVER-SUMMER-SQUASH",
    Kind.ALLIUM: "ALLIUM-ADD",
    Kind.PEPPER: "PEPPER-ADD",
}
_SURE_VINEGARS = frozenset({"white", "cider", "distilled", "spirit", "acv"})
_WEAK_WORDS = frozenset(
    {
        "homemade",
        "kombucha",
        "cleaning",
        "pickling",
        "herb",
        "fruit",
        "seasoned",
        "raspberry",
        "tarragon",
        "infused",
        "flavored",
    }
)


def judge_add(facts: Facts, change: Change) -> list[Decision]:
    """More of what the recipe has, or each food by its class; a word that is not known is refused."""
    phrase = read_phrase(change.item)
    decisions = [Decision(add_rule(facts, food, phrase, change.amount)) for food in phrase.foods]
    on_top = change.word == ADDED and not facts.is_acidified_alone and change.amount and change.amount.unit != "each"
    if phrase.kinds & ACIDS and change.amount and not on_top:
        # "Put in 1 cup vinegar", "1 tbsp lemon juice a quart": as likely all of the acid as some more of it.
        acids = facts.with_role(Role.ACID)
        same = all(phrase.kinds & line.phrase.kinds for line in acids)
        return decisions + (set_to(facts, acids, change.amount) if same else [Decision("ACID-DOUBT")])
    lines = () if phrase.unknown else facts.find(change.item, widely=False)
    lines = () if unrelated(lines, phrase) else lines
    if lines and not phrase.kinds & LOW_ACID:
        there = more(facts, lines, factor_after(lines, change.amount, 1) if change.amount else None, change.amount)
        decisions = there + [d for d in decisions if d.code == "VINEGAR-UNKNOWN"]
    elif lines:
        decisions = [Decision("VEGETABLE-MORE")]
    if not phrase.is_known:
        decisions.append(Decision("NOT-COVERED"))
    return decisions


def add_rule(facts: Facts, food: Food, phrase: Phrase, amount: Amount | None) -> str:
    """The rule for one food that is put in."""
    kind = food.kind
    if kind in _ALWAYS:
        return _ALWAYS[kind]
    if kind in _VEGETABLES:
        return "PRESSURE-MIX" if facts.is_low_acid else _VEGETABLES[kind]
    if kind is Kind.LOW_FRUIT:
        return low_fruit(food)
    if kind in SALTS:
        return _salt(facts, kind)
    if kind in PECTINS:
        return "PECTIN-MORE" if facts.is_spread else "NEVER-STARCH"
    return _by_kind(facts, food, phrase, amount)


def _by_kind(facts: Facts, food: Food, phrase: Phrase, amount: Amount | None) -> str:
    kind = food.kind
    if kind is Kind.SPICE:
        return spice_added(amount)
    if kind in (Kind.HERB, Kind.FLAVOUR):
        return _flavour(facts, kind, amount)
    if kind is Kind.BUTTER:
        return fat_more(facts, amount)
    if kind is Kind.MODIFIED_STARCH:
        return "STARCH-MORE" if facts.with_kind({kind}) else "NEVER-STARCH"
    if kind in (Kind.VINEGAR, Kind.CITRUS_JUICE, Kind.CITRIC):
        if kind is Kind.VINEGAR and vinegar_rule(phrase, None) == "VINEGAR-UNKNOWN":
            return "VINEGAR-UNKNOWN"
        return "ACID-FRESH" if kind is Kind.CITRUS_JUICE and phrase.forms & {FRESH, HOMEMADE} else acid_more(facts)
    if kind in (Kind.FRUIT, Kind.CITRUS):
        return _fruit(facts)
    if kind in (Kind.WATER, Kind.JUICE):
        return liquid_more(facts, water=kind is Kind.WATER)
    if kind is Kind.FIRMING:
        crisp = (facts.is_pickle or facts.is_fruit_pack or facts.has_tomato) and not facts.is_fermented
        return "CALCIUM-CRISP" if crisp else "NOT-COVERED"
    return _sweet(facts, kind)


def low_fruit(food: Food) -> str:
    """The rule for a fruit low in acid, by its name."""
    if "white" in food.name:
        return "FRUIT-WHITE-PEACH"
    return "FRUIT-ELDERBERRY" if "elderberry" in food.name else "FRUIT-LOW-ACID"


def _salt(facts: Facts, kind: Kind) -> str:
    if facts.is_fermented:
        return "SALT-FERMENT"
    if kind is Kind.SALT_SUBSTITUTE:
        return "SALT-SUBSTITUTE"
    return "SALT-TASTE" if facts.is_low_acid or facts.is_acidified_alone else "SALT-MORE"


def _flavour(facts: Facts, kind: Kind, amount: Amount | None) -> str:
    if kind is Kind.HERB:
        little = amount is not None and amount.unit != "each" and not is_too_much(amount, TEASPOON_ML)
        return "HERB-TEASPOON" if little and facts.is_high_acid_spread else "HERB-FRESH-MORE"
    if amount is not None and is_too_much(amount, TEASPOON_ML):
        return "FLAVOUR-MORE"
    if facts.is_high_acid_spread:
        return "HERB-TEASPOON"
    return "FLAVOUR-FRUIT" if facts.is_high_acid_fruit else "FLAVOUR-MORE"


def _fruit(facts: Facts) -> str:
    if facts.is_high_acid_spread:
        return "FRUIT-ADD-SPREAD"
    if facts.is_mixture:
        return "FRUIT-IN-MIXTURE"
    return "FRUIT-OTHER-PROCESS" if facts.is_fruit_pack else "NOT-COVERED"


def _sweet(facts: Facts, kind: Kind) -> str:
    needs_none = facts.is_fruit_pack or facts.has_tomato or facts.is_pickle
    if kind is Kind.SUGAR:
        return sugar_more(facts, None)
    if kind is Kind.SYRUP:
        return "SUGAR-MORE-SPREAD" if facts.is_spread else "SUGAR-MORE" if facts.is_high_acid_fruit else "NOT-COVERED"
    if kind is Kind.OTHER_SWEET:
        return "SYRUP-STRONG" if facts.is_fruit_pack else "SWEETENER-NOT-TESTED"
    if kind is Kind.NO_SUGAR_SWEET:
        fits = needs_none and not facts.is_spread and not facts.is_fermented
        return "SWEETENER-FRUIT" if fits else "SWEETENER-SPREAD" if facts.is_spread else "SWEETENER-NOT-TESTED"
    return "NOT-COVERED"


def vinegar_rule(phrase: Phrase, percent: float | None) -> str:
    """Whether a vinegar, by its name and the strength that was said, is one that tests were made with."""
    if percent is not None and percent < 5:
        return "VINEGAR-WEAK"
    if phrase.forms - {BOTTLED, HOMEMADE}:  # dried, powdered, frozen: not what was tested
        return "VINEGAR-UNKNOWN"
    if phrase.words & _WEAK_WORDS or HOMEMADE in phrase.forms:
        return "VINEGAR-UNKNOWN"
    names = {word for food in phrase.foods if food.kind is Kind.VINEGAR for word in food.name.split()}
    if names == {"vinegar"} or (names & _SURE_VINEGARS and not names & {"wine", "rice", "balsamic"}):
        return "VINEGAR-KIND"
    return "VINEGAR-OTHER" if percent is not None else "VINEGAR-UNKNOWN"
