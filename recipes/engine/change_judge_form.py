"""Deciding: frozen, canned, dried, bottled or fresh food in place of what was tested."""

from __future__ import annotations

from recipes.engine.change_facts import Facts
from recipes.engine.change_foods import CANNED, DRIED, FROZEN, MASHED, SWEETENED, Food, Phrase
from recipes.engine.change_judge_amount import Decision
from recipes.engine.change_kinds import Kind
from recipes.engine.change_terms import Change
from recipes.engine.process import process_choices
from recipes.engine.terms import Pack, Role

_PRODUCE = frozenset(
    {
        Kind.FRUIT,
        Kind.BORDERLINE,
        Kind.JUICE,
        Kind.TOMATO,
        Kind.GREEN_TOMATO,
        Kind.PEPPER,
        Kind.ALLIUM,
        Kind.VEGETABLE,
        Kind.LEGUME,
    }
)


def judge_form(facts: Facts, change: Change) -> list[Decision]:
    """A form without a food: "canned for fresh". It is taken of everything it can be said of."""
    if change.word == "frozen":
        return [Decision(_frozen(facts))]
    if change.word == "canned":
        return [Decision(_canned(facts))]
    if change.word == "dried":
        return _dried(facts)
    if change.word == "bottled":
        return [Decision("ACID-BOTTLED" if _has_citrus(facts) else "NOT-IN-RECIPE")]
    return [Decision(_fresh(facts, change.other))]


def form_in_phrase(facts: Facts, food: Food, phrase: Phrase) -> str | None:
    """The rule for the form that a phrase gives its food ("frozen strawberries"), or None where it gives none."""
    if MASHED in phrase.forms and food.kind in _PRODUCE - {Kind.JUICE}:
        return "PREP-CHANGED"
    if food.kind not in _PRODUCE or not phrase.forms & {FROZEN, CANNED, DRIED, SWEETENED}:
        return None
    if SWEETENED in phrase.forms or DRIED in phrase.forms:
        return "NOT-COVERED"
    return _frozen(facts) if FROZEN in phrase.forms else _canned(facts)


def _frozen(facts: Facts) -> str:
    if facts.is_mixture or facts.has_tomato or facts.is_low_acid or not facts.with_role(Role.FRUIT):
        return "TOMATO-FROZEN"
    if facts.is_fruit_pack and facts.kind != "juice":
        hot = Pack.HOT in process_choices(facts.recipe.process).packs
        return "FRUIT-FROZEN-SOFT" if hot else "NOT-COVERED"
    return "FRUIT-FROZEN" if facts.is_spread or facts.is_high_acid_fruit else "NOT-COVERED"


def _canned(facts: Facts) -> str:
    return "FRUIT-CANNED" if facts.is_high_acid_spread and facts.has_pectin else "CANNED-OTHER"


def _dried(facts: Facts) -> list[Decision]:
    found = []
    if any(line.is_fresh_herb for line in facts.lines):
        found.append(Decision("HERB-DRIED-FOR-FRESH"))
    if facts.with_role(Role.FRUIT):
        found.append(Decision("FRUIT-DRIED"))
    if facts.with_role(Role.LOW_ACID):
        found.append(Decision("NOT-COVERED"))
    return found or [Decision("NOT-COVERED")]


def _fresh(facts: Facts, instead_of: str) -> str:
    if instead_of in ("frozen", "canned"):
        return "FRUIT-FRESH" if facts.is_high_acid_fruit else "NOT-COVERED"
    if instead_of == "dried":
        return "HERB-FRESH-FOR-DRIED"
    return "ACID-FRESH" if _has_citrus(facts) else "NOT-UNDERSTOOD"


def _has_citrus(facts: Facts) -> bool:
    return bool(facts.with_kind({Kind.CITRUS_JUICE}))
