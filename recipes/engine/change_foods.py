"""Reading a phrase as foods: which classes it names, in what form, and which words are not known.

The longest phrase of the vocabulary wins; words that only describe a cut or a size are passed over. A phrase
with a word left over is not understood as a whole, and whoever asks must not answer "fine" to it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from recipes.engine.change_kinds import Kind
from recipes.engine.change_text import tokens
from recipes.engine.change_words_pantry import PANTRY
from recipes.engine.change_words_plants import PLANTS

FRESH, DRIED, FROZEN, CANNED, BOTTLED, GROUND, HOMEMADE, MASHED, SWEETENED = (
    "fresh",
    "dried",
    "frozen",
    "canned",
    "bottled",
    "ground",
    "homemade",
    "mashed",
    "sweetened",
)
_FORMS = {
    "fresh": FRESH,
    "freshly": FRESH,
    "squeezed": FRESH,
    "pressed": FRESH,
    "garden": FRESH,
    "dried": DRIED,
    "dry": DRIED,
    "dehydrated": DRIED,
    "freeze": DRIED,
    "frozen": FROZEN,
    "thawed": FROZEN,
    "canned": CANNED,
    "tinned": CANNED,
    "jarred": CANNED,
    "bottled": BOTTLED,
    "commercial": BOTTLED,
    "ground": GROUND,
    "powdered": GROUND,
    "powder": GROUND,
    "homemade": HOMEMADE,
    "unpasteurized": HOMEMADE,
    "raw": FRESH,
    "pureed": MASHED,
    "puree": MASHED,
    "mashed": MASHED,
    "mash": MASHED,
    "creamed": MASHED,
    "blended": MASHED,
    "sweetened": SWEETENED,
}
# Words that say nothing about what the food is, nor how much of it: no measure, no share, no "only" stands here.
_DESCRIBING = """
a an the of my our your this that these those its all other
chopped diced sliced minced shredded grated crushed peeled cored seeded pitted whole halved quartered cubed chunk
chunky piece cut finely coarsely thinly roughly small medium baby
organic local good quality best plain regular ordinary normal usual standard store bought brand name
ripe firm sweet hot mild spicy tart unsweetened unsalted salted pure natural cooked roasted steamed blanched
boiled red white yellow green orange purple black brown light dark golden pink heirloom fleshed
leaf stalk rib sprig head slice strip ring wedge stick original tested called
ingredient strained drained rinsed washed unpeeled seedless boneless skinless lean single type kind variety
variou distilled same acidity strength
"""
_PASSED_OVER = frozenset(_DESCRIBING.split())
_LONGEST_PHRASE = 5


@dataclass(frozen=True)
class Food:
    """One food named in a phrase."""

    kind: Kind
    name: str


@dataclass(frozen=True)
class Phrase:
    """What a phrase names. `unknown` holds the words and signs that are neither a food nor pass for its description."""

    foods: tuple[Food, ...]
    forms: frozenset[str]
    unknown: tuple[str, ...]
    words: frozenset[str]

    @property
    def kinds(self) -> frozenset[Kind]:
        return frozenset(food.kind for food in self.foods)

    @property
    def is_known(self) -> bool:
        """One food, and nothing beside it: two side by side are two wishes, or one that was not understood."""
        return len(self.foods) == 1 and not self.unknown


@lru_cache(maxsize=1)
def vocabulary() -> dict[tuple[str, ...], Food]:
    """Every phrase, as its words in one number."""
    return {
        tuple(tokens(phrase)): Food(kind, " ".join(tokens(phrase)))
        for kind, words in (*PLANTS, *PANTRY)
        for phrase in (" ".join(part.split()) for part in words.split(","))
        if phrase
    }


@lru_cache(maxsize=512)
def read_phrase(text: str) -> Phrase:
    """The foods in a plain text, with the amount already taken out."""
    words = tokens(text)
    foods, forms, at = [], set(), 0
    unknown = re.findall(r"[^a-z0-9 %]", re.sub(r"(?<=[0-9])[./,](?=[0-9])", "", text))
    while at < len(words):
        size, food = _longest_at(words, at)
        if food is not None:
            foods.append(food)
        elif words[at] in _FORMS:
            forms.add(_FORMS[words[at]])
        elif words[at] not in _PASSED_OVER:
            unknown.append(words[at])
        forms |= {_FORMS[word] for word in words[at : at + size] if word in _FORMS}
        at += size
    formed = tuple(_in_form(food, forms) for food in foods)
    return Phrase(formed, frozenset(forms), tuple(unknown), frozenset(words))


def foods_in(text: str) -> tuple[list[Food], list[str]]:
    """Every food named anywhere in a text, and the words that name none."""
    words = tokens(text)
    foods, rest, at = [], [], 0
    while at < len(words):
        size, food = _longest_at(words, at)
        if food is not None:
            foods.append(food)
        else:
            rest.append(words[at])
        at += size
    return foods, rest


def without_percent(text: str) -> str:
    """A phrase without the strength of a table vinegar; any other percentage may be a share, and stays to be read."""
    return " ".join(re.sub(r"(?<![0-9.,/])[567](?:[.,][0-9]+)? ?%(?: acidity| acid)?", " ", text).split())


def _longest_at(words: list[str], at: int) -> tuple[int, Food | None]:
    known = vocabulary()
    for size in range(min(_LONGEST_PHRASE, len(words) - at), 0, -1):
        if food := known.get(tuple(words[at : at + size])):
            return size, food
    return 1, None


_MASHABLE = frozenset({Kind.VEGETABLE, Kind.ALLIUM, Kind.PUMPKIN, Kind.SUMMER_SQUASH, Kind.LEGUME, Kind.LOW_FRUIT})


def _in_form(food: Food, forms: set[str]) -> Food:
    """Dried herbs and chilies are dry spices, dried fruit is another thing than fresh, a mash than the pieces."""
    if food.kind in (Kind.HERB, Kind.PEPPER, Kind.FRESH_ROOT) and DRIED in forms and FRESH not in forms:
        return Food(Kind.SPICE, food.name)
    if food.kind in (Kind.FRUIT, Kind.BORDERLINE) and DRIED in forms:
        return Food(Kind.DRIED_FRUIT, food.name)
    if food.kind in _MASHABLE and MASHED in forms:
        return Food(Kind.PUREE, food.name)
    return food
