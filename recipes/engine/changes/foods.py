"""Foods: their classes as the rules of change tell them apart, and a phrase read as the foods that it names.

The longest name of the vocabulary wins; words that only describe a cut or a size are passed over. A phrase with a
word left over is not understood as a whole, and whoever asks must not answer "fine" to it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from functools import cache, lru_cache

from recipes.engine.changes.normalise import lemmas
from recipes.engine.changes.vocabulary import rows, spellings, word_lists, words_of


class Kind(StrEnum):
    """What a food is for safety in the jar."""

    VEGETABLE = "low-acid vegetable"
    ALLIUM = "onion or garlic"
    PEPPER = "pepper"
    SUMMER_SQUASH = "summer squash"
    PUMPKIN = "pumpkin or winter squash"
    LEGUME = "pea, bean or lentil"
    PUREE = "mash or puree"
    FRESH_ROOT = "fresh spice root"
    TOMATO = "tomato"
    GREEN_TOMATO = "green tomato or tomatillo"
    TOMATO_PRODUCT = "tomato product"
    FRUIT = "high-acid fruit"
    BORDERLINE = "fruit near pH 4.6"
    LOW_FRUIT = "low-acid fruit"
    CITRUS = "lemon or lime"
    DRIED_FRUIT = "dried fruit"
    JUICE = "fruit juice"
    CITRUS_JUICE = "lemon or lime juice"
    CITRIC = "citric acid"
    VINEGAR = "vinegar"
    OTHER_ACID = "another acid"
    ALKALI = "alkali"
    FIRMING = "calcium chloride"
    ALUM = "alum"
    SUGAR = "sugar"
    SYRUP = "honey or corn syrup"
    OTHER_SWEET = "another sweetener"
    NO_SUGAR_SWEET = "sweetener without sugar"
    SALT = "salt"
    COARSE_SALT = "flake or sea salt"
    SALT_SUBSTITUTE = "salt substitute"
    UNFIT_SALT = "salt not for food"
    SPICE = "dry spice"
    HERB = "herb"
    FLAVOUR = "extract or zest"
    COLOUR = "food colour"
    PECTIN = "pectin"
    LIQUID_PECTIN = "liquid pectin"
    POWDERED_PECTIN = "powdered pectin"
    LOW_SUGAR_PECTIN = "low-sugar pectin"
    STARCH = "starch or flour"
    MODIFIED_STARCH = "cook-type modified starch"
    GUM = "gelatin or gum"
    BUTTER = "butter or margarine"
    OIL = "oil or other fat"
    DAIRY = "milk food"
    EGG = "egg"
    MEAT = "meat"
    FISH = "fish"
    NUT = "nut or seed"
    GRAIN = "pasta, rice or other grain"
    BREAD = "bread or cake"
    CHOCOLATE = "chocolate"
    ALCOHOL = "alcohol"
    WATER = "water"
    BROTH = "broth"
    SAUCE = "ready sauce"
    DRINK = "coffee, tea or other drink"
    ADDITIVE = "preservative or additive"
    READY = "ready dish"


# Foods that make any jar less acid, or that a jar cannot be heated through with.
LOW_ACID = frozenset(
    {
        Kind.VEGETABLE,
        Kind.ALLIUM,
        Kind.PEPPER,
        Kind.SUMMER_SQUASH,
        Kind.PUMPKIN,
        Kind.LEGUME,
        Kind.PUREE,
        Kind.FRESH_ROOT,
        Kind.LOW_FRUIT,
        Kind.DAIRY,
        Kind.EGG,
        Kind.MEAT,
        Kind.FISH,
        Kind.NUT,
        Kind.GRAIN,
        Kind.BREAD,
        Kind.BROTH,
        Kind.READY,
    }
)
ACIDS = frozenset({Kind.VINEGAR, Kind.CITRUS_JUICE, Kind.CITRIC})
SALTS = frozenset({Kind.SALT, Kind.COARSE_SALT, Kind.SALT_SUBSTITUTE, Kind.UNFIT_SALT})
PECTINS = frozenset({Kind.PECTIN, Kind.LIQUID_PECTIN, Kind.POWDERED_PECTIN, Kind.LOW_SUGAR_PECTIN})
SWEETS = frozenset({Kind.SUGAR, Kind.SYRUP, Kind.OTHER_SWEET, Kind.NO_SUGAR_SWEET})
TOMATOES = frozenset({Kind.TOMATO, Kind.GREEN_TOMATO})
THICKENERS = frozenset({Kind.STARCH, Kind.MODIFIED_STARCH, Kind.GUM})

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
LONGEST_PHRASE = 6


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
    # The words of cut, size, peel and cooking beside the names of the foods, each under one name.
    preps: frozenset[str] = frozenset()

    @property
    def kinds(self) -> frozenset[Kind]:
        return frozenset(food.kind for food in self.foods)

    @property
    def is_known(self) -> bool:
        """One food, and nothing beside it: two side by side are two wishes, or one that was not understood."""
        return len(self.foods) == 1 and not self.unknown


@cache
def foods() -> dict[tuple[str, ...], Food]:
    """Every name of a food, as its words in the singular."""
    found: dict[tuple[str, ...], Food] = {}
    for row in rows("foods"):
        key = _respelled(words_of(row["name"]))
        found.setdefault(key, Food(Kind(row["kind"]), " ".join(key)))
    for key, food in list(found.items()):
        if food.kind is Kind.FRUIT and key[-1] != "juice":  # the juice of each fruit
            found.setdefault((*key, "juice"), Food(Kind.JUICE, f"{food.name} juice"))
    return found


def _respelled(words: tuple[str, ...]) -> tuple[str, ...]:
    return spellings().get(words, words)


# Two words for one preparation.
_SAME_PREPARATION = {"slice": "sliced", "deseeded": "seeded", "stoned": "pitted", "skinless": "peeled", "big": "large"}


@lru_cache(maxsize=1024)
def read_phrase(text: str) -> Phrase:
    """The foods in the name of a food, with the amount already taken out."""
    words = list(lemmas(without_percent(text)))
    found: list[Food] = []
    forms: set[str] = set()
    unknown: list[str] = []
    preps: set[str] = set()
    at = 0
    while at < len(words):
        size, name = longest_at(words, at)
        if name == "food":
            found.append(foods()[tuple(words[at : at + size])])
            forms |= {form for word in words[at : at + size] if (form := form_of((word,)))}
        elif name.startswith("form "):
            forms.add(name.removeprefix("form "))
        elif name == "prepared":
            said = " ".join(words[at : at + size])
            preps.add(_SAME_PREPARATION.get(said, said))
        elif not name:
            unknown.append(words[at])
        at += size
    formed = tuple(_in_form(food, forms) for food in found)
    return Phrase(formed, frozenset(forms), tuple(unknown), frozenset(words), frozenset(preps))


def form_of(words: tuple[str, ...]) -> str:
    return next(
        (
            name.removeprefix("form ")
            for name, known in word_lists().items()
            if name.startswith("form ") and words in known
        ),
        "",
    )


def longest_at(words: list[str], at: int) -> tuple[int, str]:
    """How many words the longest phrase from `at` has, and which list it stands in: "food", a list's name, or ""."""
    for size in range(min(LONGEST_PHRASE, len(words) - at), 0, -1):
        phrase = tuple(words[at : at + size])
        if phrase in foods():
            return size, "food"
        for name, known in word_lists().items():
            if phrase in known:
                return size, name
    return 1, ""


def without_percent(text: str) -> str:
    """A phrase without the strength of a table vinegar; any other percentage may be a share, and stays to be read."""
    return " ".join(re.sub(r"(?<![0-9.,/])[567](?:[.,][0-9]+)? ?%(?: acidity| acid)?", " ", text).split())


_MASHABLE = frozenset({Kind.VEGETABLE, Kind.ALLIUM, Kind.PUMPKIN, Kind.SUMMER_SQUASH, Kind.LEGUME, Kind.LOW_FRUIT})


def _in_form(food: Food, forms: set[str]) -> Food:
    """Dried herbs and chilies are dry spices, dried fruit is another thing than fresh, a mash than the pieces."""
    if food.kind in (Kind.HERB, Kind.PEPPER, Kind.FRESH_ROOT) and DRIED in forms and FRESH not in forms:
        return Food(Kind.SPICE, food.name)
    if food.kind is Kind.HERB and GROUND in forms and FRESH not in forms:
        return Food(Kind.SPICE, food.name)
    if food.kind in (Kind.FRUIT, Kind.BORDERLINE) and DRIED in forms:
        return Food(Kind.DRIED_FRUIT, food.name)
    if food.kind in _MASHABLE and MASHED in forms:
        return Food(Kind.PUREE, food.name)
    return food
