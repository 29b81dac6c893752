"""The account of a text's words: what of it no reading consumed, and what it says of acid beyond any doubt.

A form of the grammar fits a whole wish, so that its own words are consumed with it; what is open in a form is the
name of a food, and there every word has to be the food, its form or its description. A word left over makes the
whole text not understood. A wish that names acid is held to a list of words besides: no share, no "only", no
"less" stands in it, and every number in it is one that a reading took and compared.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction

from recipes.engine.change_facts import Facts, names_role
from recipes.engine.change_foods import foods_in, read_phrase, without_percent
from recipes.engine.change_grammar import parts_of
from recipes.engine.change_kinds import ACIDS, Kind
from recipes.engine.change_terms import Act, Change
from recipes.engine.change_text import NUMBER, read_number, tokens
from recipes.engine.quantities import SPELLINGS

_OF_FOOD = frozenset({Act.ADD, Act.LESS, Act.MORE, Act.OMIT, Act.SET, Act.SWAP, Act.USE})
# "One pepper kind for another", "another brand": said of a line, not of a measure.
_OF_A_KIND = frozenset({"one", "any", "some", "another", "different", "other", "else", "kind", "type", "sort", "brand"})
_ACID_KINDS = ACIDS | {Kind.CITRUS, Kind.OTHER_ACID}
_ACID_WORDS = frozenset({"acid", "acidic", "acidity", "sour", "sourer", "tart", "tartness", "sharp"})
# What may stand in a wish that names acid, besides the names of foods and the measures that were compared.
_BESIDE_ACID_WORDS = """
use using with swap switch replace substitute sub substituting change exchange trade for instead of in place rather
than lieu to by as a an the my our it all add adding plus and or more extra additional increase double put please
hello can could may should i we want would like what about if is ok okay safe fine possible this time
each every per jar pint quart half-pint bottled white distilled plain ordinary regular bought store brand
same measure amount acidity acid strength cup new lid jelly
"""
_BESIDE_ACID = frozenset(_BESIDE_ACID_WORDS.split()) | {word for spelling in SPELLINGS for word in tokens(spelling)}


def left_over(facts: Facts, change: Change) -> bool:
    """Whether a name of food in a change holds a word that is no part of the name."""
    if change.act not in _OF_FOOD:
        return False
    named = [change.item] if change.act is not Act.SWAP else [change.item, change.other]
    of_a_kind = change.act is Act.SWAP and set(tokens(change.other)) <= _OF_A_KIND | {"a"}
    # "Red onions instead of yellow": the second name is its description alone.
    described = change.act is Act.SWAP and read_phrase(without_percent(change.other)).is_known and bool(change.item)
    return any(not _is_consumed(facts, text, of_a_kind=of_a_kind, only_described=described) for text in named)


def _is_consumed(facts: Facts, text: str, *, of_a_kind: bool, only_described: bool) -> bool:
    name = without_percent(text)
    if names_role(name):
        return True
    phrase = read_phrase(name)
    if of_a_kind and not set(phrase.unknown) - _OF_A_KIND:
        return True
    if phrase.is_known or (not phrase.unknown and not phrase.foods and (phrase.forms or only_described)):
        return True
    # What a recipe calls its own line needs no vocabulary: the words of one line, all of them.
    words = set(tokens(name)) - {"the", "a", "an", "of", "all", "my", "our"}
    signs = re.search(r"[^a-z0-9 %]", name)
    return not signs and any(words and words <= line.phrase.words for line in facts.lines)


def doubts_acid(text: str, changes: Sequence[Change]) -> bool:
    """Whether a wish that names acid says more than was read and compared."""
    compared = {number for change in changes for number in _numbers_of(change)}
    return any(_doubts(part, compared) for part in parts_of(text))


def _numbers_of(change: Change) -> set[Fraction]:
    return {amount.value for amount in (change.amount, change.other_amount) if amount} | set(change.told)


def _doubts(part: str, compared: set[Fraction]) -> bool:
    part = without_percent(part)
    foods, rest = foods_in(part)
    if not any(food.kind in _ACID_KINDS for food in foods) and not _ACID_WORDS & set(rest):
        return False
    numbers = [read_number(found) for found in re.findall(NUMBER, part)]
    words = {word for word in rest if not word[0].isdigit()}
    signs = re.findall(r"[^a-z0-9 .,/>-]", part)
    return bool(signs or words - _BESIDE_ACID or any(number not in compared for number in numbers))
