"""The foods that a recipe for the shelf may name, each with its class, and reading a line's words among them.

A `KnownFoods` value is passed to whatever needs one; the list itself is `fixtures/library/acidity.csv`, read outside
the engine. Every word of a line has to be accounted for: a food, a number, or a word that only describes. What is left
over is unknown, and nobody may take an unknown word for a harmless one.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property, lru_cache


class FoodClass(StrEnum):
    """What a food is to the acid of a jar, whatever role a recipe gives it."""

    FRUIT = "fruit"  # pH 4.6 or below, or kept in boiling water without acid by a publication
    NEAR = "near"  # near pH 4.6: acid by weight is published
    LOW_ACID = "low-acid"
    PRESSURE_ONLY = "pressure-only"
    NEVER = "never"  # no tested way to keep it on a shelf
    OIL = "oil"
    BUTTER = "butter"
    STARCH = "starch"
    MODIFIED_STARCH = "modified starch"
    UNTESTED = "untested"  # only as a tested recipe has it
    VINEGAR = "vinegar"
    LEMON_JUICE = "lemon juice"
    LIME_JUICE = "lime juice"
    EITHER_JUICE = "lemon or lime juice"
    CITRIC_ACID = "citric acid"
    NO_TESTED_ACID = "not a tested acid"
    SPICE = "spice"
    NEUTRAL = "neutral"
    WATER = "water"
    DESCRIBES = "describes"  # no food: a word for how one is cut, grown or sold


ACIDS = frozenset(
    {
        FoodClass.VINEGAR,
        FoodClass.LEMON_JUICE,
        FoodClass.LIME_JUICE,
        FoodClass.EITHER_JUICE,
        FoodClass.CITRIC_ACID,
    }
)
JUICES = frozenset({FoodClass.LEMON_JUICE, FoodClass.LIME_JUICE, FoodClass.EITHER_JUICE})
PLAIN = frozenset({FoodClass.NEUTRAL, FoodClass.SPICE, FoodClass.DESCRIBES})


@dataclass(frozen=True)
class KnownFood:
    """One food, under the name that all its names share."""

    name: str
    kind: FoodClass


@dataclass(frozen=True)
class FoodWords:
    """What a text names. `unknown` are the runs of words that nothing is known about."""

    foods: tuple[KnownFood, ...]
    unknown: tuple[str, ...]
    words: frozenset[str]


@dataclass(frozen=True)
class KnownFoods:
    """Every name of every food. Of two names that begin alike the longer one is meant."""

    names: tuple[tuple[str, KnownFood], ...]

    @cached_property
    def _index(self) -> dict[tuple[str, ...], KnownFood]:
        index: dict[tuple[str, ...], KnownFood] = {}
        for name, food in self.names:
            index.setdefault(tuple(words_of(name)), food)
        return index

    @cached_property
    def _longest(self) -> int:
        return max((len(words) for words in self._index), default=1)

    def and_also(self, names: Iterable[tuple[str, KnownFood]]) -> KnownFoods:
        """These foods and those; a name that is known already keeps its meaning."""
        added = tuple(names)
        return KnownFoods((*self.names, *added)) if added else self

    def read(self, text: str) -> FoodWords:
        words = words_of(text)
        foods: list[KnownFood] = []
        unknown: list[list[str]] = []
        at, in_run = 0, False
        while at < len(words):
            size, food = self._longest_at(words, at)
            if food is not None:
                foods.append(food)
            strange = food is None and not _is_number(words[at]) and words[at] not in _DESCRIBING
            if strange and in_run:
                unknown[-1].append(words[at])
            elif strange:
                unknown.append([words[at]])
            in_run = strange
            at += size
        kept = tuple(food for food in dict.fromkeys(foods) if food.kind is not FoodClass.DESCRIBES)
        return FoodWords(kept, tuple(" ".join(run) for run in unknown), frozenset(words))

    def _longest_at(self, words: tuple[str, ...], at: int) -> tuple[int, KnownFood | None]:
        for size in range(min(self._longest, len(words) - at), 0, -1):
            if food := self._index.get(words[at : at + size]):
                return size, food
        return 1, None


@lru_cache(maxsize=8192)
def words_of(text: str) -> tuple[str, ...]:
    """The words of `text` in one number and one case, without accents and invisible signs, whatever the script."""
    folded = "".join(_FOLDED.get(char, char) for char in text.casefold())
    folded = unicodedata.normalize("NFKD", folded).casefold()
    folded = "".join(char for char in folded if unicodedata.category(char) not in ("Mn", "Cf", "Cc"))
    folded = re.sub(r"['’‘`´]s?\b", "", folded)
    return tuple(_singular(word) for word in re.findall(r"[^\W_]+", folded))


# Letters that no decomposition takes apart.
_FOLDED = {"ø": "o", "æ": "ae", "œ": "oe", "ł": "l", "đ": "d", "ı": "i", "\n": " ", "\t": " ", "\r": " "}


def _singular(word: str) -> str:
    if len(word) > 4 and word.endswith("ies"):
        return word[:-3] + "y"
    if len(word) > 4 and word.endswith(("oes", "ches", "shes", "xes", "sses")):
        return word[:-2]
    return word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith(("ss", "us", "is")) else word


def _is_number(word: str) -> bool:
    return word.isascii() and word.isdecimal()


# Words that say nothing about what a food is. "not" and "no" are left out on purpose: "not bottled" is not understood.
_DESCRIBING = frozenset(
    word
    for text in (
        """a an the of or and in to with by for from at on as into each per other its about all both size""",
        """fruit juice pulp flesh flake puree pureed mashed mash creamed blended riced cooked raw fresh freshly frozen
        thawed dried dry dehydrated canned can tinned jarred bottled bottle commercial commercially reconstituted
        concentrate concentrated ground powdered powder granulated granule liquid homemade home made strained extracted
        drained pressed squeezed juiced sieved unsweetened sweetened unsalted salted smoked pickled roasted toasted
        steamed blanched boiled warm hot cold lukewarm reduced pasteurized pasteurised diluted thinned watered""",
        """chopped diced sliced minced shredded grated crushed crumbled peeled unpeeled cored seeded deseeded pitted
        stoned whole halved half quartered cubed cube chunk chunky piece cut finely coarsely thinly thickly roughly
        stemmed trimmed hulled capped husked shelled unshelled washed rinsed scrubbed packed loosely firmly heaping
        level measured prepared sectioned section slivered zested stripped topped tailed snapped torn bruised julienned
        slice strip ring wedge spear round stick sticks leaf stalk rib sprig bunch head bulb kernel ear root pod
        cob""",
        """large small medium big little tiny jumbo baby young mature old ripe firm underripe unripe overripe sweet sour
        mild tart bitter spicy tender crisp juicy sound good quality best plain regular ordinary normal usual standard
        garden local organic heirloom brand store bought bush vine tree orchard summer winter spring autumn fall
        season""",
        """red white yellow green orange purple black brown light dark golden gold pink blue pale coloured colored
        colour color cook type kind variety assorted mixed such single total""",
        """one fl fluid leaves fleshed inch cm mm long across thick deep lb pound oz ounce g kg gram ml l litre liter
        cup pint quart gallon tbsp tablespoon tsp teaspoon box pouch packet package bag jar part half third quarter two
        three four five six seven eight nine ten twelve dozen percent per cent acidity strength acid grain optional
        taste foam drop medium heavy extra double full husk top tied up without skin skins peel seed core stem pit
        stone""",
        """clove cold room temperature day night overnight hour minute then before after until soft tender well
        mixture covering cover cooking baking eating table processing canning preserving pickling""",
    )
    for word in words_of(text)
)
