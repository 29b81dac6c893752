"""Deciding: one thing in place of another, and things simply "used"."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from recipes.engine.change_facts import Facts, Line
from recipes.engine.change_foods import Phrase, read_phrase, without_percent
from recipes.engine.change_grammar import BARE, FOR
from recipes.engine.change_judge_add import judge_add
from recipes.engine.change_judge_amount import Decision, less, set_to
from recipes.engine.change_judge_form import form_in_phrase
from recipes.engine.change_judge_swap_acid import acid_swap
from recipes.engine.change_judge_swap_produce import fruit_swap, vegetable_swap
from recipes.engine.change_judge_swap_shelf import shelf_swap
from recipes.engine.change_kinds import ACIDS, LOW_ACID, Kind
from recipes.engine.change_rules import CHANGE_RULES
from recipes.engine.change_terms import ORDER, Act, Change, Ruling
from recipes.engine.change_text import tokens
from recipes.engine.terms import Role

_ANOTHER = frozenset(
    {"another", "other", "different", "kind", "type", "variety", "one", "a", "sort", "any", "some", "else", "brand"}
)
_FORM_WORDS = frozenset(
    {"fresh", "frozen", "canned", "dried", "bottled", "raw", "ones", "freshly", "squeezed", "tinned"}
)
_NOTHING = frozenset({"", "nothing", "none", "no"})
# What "another one" of a family means.
_OF_ITS_KIND = (
    (Kind.PEPPER, "peppers"),
    (Kind.SPICE, "spice"),
    (Kind.SUGAR, "brown sugar"),
    (Kind.FRUIT, "other fruit"),
    (Kind.TOMATO, "tomato"),
)
_FRUITLIKE = frozenset({Kind.FRUIT, Kind.LOW_FRUIT, Kind.BORDERLINE})


def judge_swap(facts: Facts, change: Change) -> list[Decision]:
    """The worst over every line meant and every food named; both directions where the words do not say which."""
    old, new = facts.find(without_percent(change.item)), facts.find(without_percent(change.other))
    old = old or facts.with_words(set(tokens(change.item)))
    described = read_phrase(change.item)
    only_described = not described.foods and not described.unknown and not described.forms
    # "Frozen strawberries for fresh", "red onions instead of yellow": the food is named once.
    if not old and change.item and (set(change.item.split()) <= _FORM_WORDS or only_described):
        return judge_use(facts, Change(Act.USE, change.other, amount=change.other_amount, text=change.text))
    turned = Change(
        Act.SWAP, change.other, change.item, change.other_amount, change.amount, change.factor, text=change.text
    )
    if change.either_way and new and not old:
        return _swap(facts, new, turned)
    if (change.either_way or change.word == FOR) and new and old and set(new) != set(old):
        return _swap(facts, old, change) + _swap(facts, new, turned)
    if not old:
        return _nothing_to_swap(facts, change)
    return _swap(facts, old, change)


def _nothing_to_swap(facts: Facts, change: Change) -> list[Decision]:
    """What takes the place of something absent is an addition; allowed or not, the recipe has no such thing."""
    named = read_phrase(without_percent(change.item))
    if named.foods and named.unknown:  # "instead of lemon juice, only 1 tbsp": there, and more was said of it
        return [Decision("NOT-UNDERSTOOD")]
    added = judge_add(facts, Change(Act.ADD, without_percent(change.other), amount=change.other_amount))
    refused = [decision for decision in added if CHANGE_RULES[decision.code].verdict is Ruling.REFUSED]
    return refused or [Decision("NOT-IN-RECIPE")]


def _swap(facts: Facts, lines: Sequence[Line], change: Change) -> list[Decision]:
    words = without_percent(change.other)
    if words in _NOTHING:
        return less(facts, lines, Fraction(0), none=True)
    if words and set(words.split()) <= _ANOTHER:
        return [decision for line in lines for decision in _another(facts, line, change)]
    phrase = read_phrase(words)
    decisions = [] if phrase.is_known else [Decision("NOT-COVERED")]
    return decisions + [decision for line in lines for decision in _one(facts, line, phrase, change)]


def _another(facts: Facts, line: Line, change: Change) -> list[Decision]:
    for kind, words in _OF_ITS_KIND:
        if kind in line.phrase.kinds:
            return _one(facts, line, read_phrase(words), change)
    if Kind.ALLIUM in line.phrase.kinds and "onion" in line.phrase.words:
        return [Decision("ONION-SWAP")]
    return [Decision("NOT-COVERED")]


def _one(facts: Facts, line: Line, phrase: Phrase, change: Change) -> list[Decision]:
    found = []
    for food in phrase.foods:
        if form := form_in_phrase(facts, food, phrase):
            found.append(Decision(form))
        if line.role is not Role.ACID and food.kind in ACIDS and change.other_amount:
            # A measure of acid beside a line that is none may as well be all the acid that is meant.
            found += set_to(facts, facts.with_role(Role.ACID), change.other_amount)
        if line.role is Role.ACID:
            found.append(Decision(acid_swap(facts, line, food, phrase, change)))
        elif line.role is Role.LOW_ACID:
            found.append(Decision(vegetable_swap(facts, line, food, phrase, change)))
        elif line.role is Role.FRUIT:
            found.append(Decision(fruit_swap(facts, line, food, phrase, change)))
        else:
            found.append(Decision(shelf_swap(facts, line, food, phrase, change)))
    return found


def judge_use(facts: Facts, change: Change) -> list[Decision]:
    """ "Use honey", "use frozen strawberries", "use 5 cups sugar": by what the recipe holds."""
    phrase = read_phrase(change.item)
    if change.word == BARE and phrase.unknown:
        return [Decision("NOT-UNDERSTOOD")]
    if phrase.kinds & {Kind.WATER} and facts.with_role(Role.ACID) and not change.amount:
        return [Decision("BRINE-RATIO")]  # perhaps in place of the acid
    if change.word == BARE and phrase.kinds & LOW_ACID:  # "bell peppers" alone: more likely more of them
        return judge_add(facts, change)
    lines = facts.find(change.item)
    same = all(food.name in {known.name for line in lines for known in line.phrase.foods} for food in phrase.foods)
    same_or_plain = same or phrase.words == {"vinegar"}
    if change.word == BARE and lines and same_or_plain and not change.amount and not phrase.forms:
        return [Decision("NOT-UNDERSTOOD")]
    if change.amount and lines and phrase.is_known:
        swapped = [] if same and not phrase.forms else _swap(facts, lines, _for_lines(change))
        return set_to(facts, lines, change.amount) + swapped
    if not lines and phrase.is_known:
        near = _near(facts, phrase)
        if near:
            return _swap(facts, near, replace(_for_lines(change), other_amount=change.amount))
    if lines:
        return _swap(facts, lines, _for_lines(change))
    return judge_add(facts, change)


def _for_lines(change: Change) -> Change:
    return Change(Act.SWAP, item=change.item, other=without_percent(change.item), text=change.text)


def _near(facts: Facts, phrase: Phrase) -> tuple[Line, ...]:
    """The lines that a thing would take the place of: an acid's, a fruit's; a vegetable takes nobody's."""
    if phrase.kinds <= ACIDS | {Kind.CITRUS, Kind.OTHER_ACID}:
        return facts.with_role(Role.ACID)
    if phrase.kinds <= _FRUITLIKE:
        return facts.with_kind(_FRUITLIKE)
    if phrase.kinds <= {Kind.TOMATO, Kind.GREEN_TOMATO}:
        return facts.with_kind({Kind.TOMATO, Kind.GREEN_TOMATO})
    return ()


def worst_of(decisions: Sequence[Decision]) -> Decision:
    """The decision that weighs most; of equals the first."""
    return max(decisions, key=lambda decision: ORDER.index(CHANGE_RULES[decision.code].verdict))
