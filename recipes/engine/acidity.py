"""What the acid ledger says of a recipe."""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from functools import cached_property, lru_cache
from typing import NamedTuple

from recipes.engine.alternatives import variants
from recipes.engine.document_fields import parse_exact
from recipes.engine.quantities import JAR_ML, SPELLINGS, UNITS, US_CUP_ML, convert, format_decimal, unit_kind
from recipes.engine.rules import FERMENT_KINDS, RULES
from recipes.engine.terms import Alternative, Ingredient, JarFact, Method, Role, TestedRecipe, Use


@dataclass(frozen=True)
class Finding:
    """One thing that speaks against a recipe, beside the field it is about.

    Refused is refused for good. Held back waits: for a class of the `unknown` words, for a reviewer's word on what the
    source says (`by_statement`), or else for a better text.
    """

    field: str
    message: str
    rule: str
    is_refused: bool
    unknown: str = ""
    by_statement: bool = False

    @property
    def statement(self) -> str:
        return RULES[self.rule].statement

    @property
    def source(self) -> str:
        return RULES[self.rule].source

    @property
    def sentence(self) -> str:
        return f"{self.message} {self.rule}: {self.statement}"


def refused(field: str, rule: str, message: str) -> Finding:
    return Finding(field, message, rule, is_refused=True)


def held(field: str, rule: str, message: str, *, unknown: str = "", by_statement: bool = False) -> Finding:
    return Finding(field, message, rule, is_refused=False, unknown=unknown, by_statement=by_statement)


# The foods that a recipe for the shelf may name, each with its class, and reading a line's words among them.
#
# A `KnownFoods` value is passed to whatever needs one; the list itself is `fixtures/library/acidity.csv`, read
# outside
# the engine. Every word of a line has to be accounted for: a food, a number, or a word that only describes. What is
# left
# over is unknown, and nobody may take an unknown word for a harmless one.


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
    ph_low: Fraction | None = None  # as printed; None where no figure was seen
    ph_high: Fraction | None = None


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

# A recipe's ingredients as the acid of the jar sees them: which foods each line names, and how much acid it brings.
#
# Amounts are never taken from the weights that a recipe states about itself, only from the measured amount.

TBSP_ML = US_CUP_ML / 16
TSP_ML = US_CUP_ML / 48
LOWEST_VINEGAR_PERCENT = 5  # rule VINEGAR-MIN

# Grams in a US cup. Lemon and lime juice: USDA SR28 household weight, NDB 09153; vinegar: NDB 02053 and 02048, the
# heavier of the two, so that a weight never counts as more than it is.
_CUP_GRAMS: dict[FoodClass, int] = {
    FoodClass.LEMON_JUICE: 244,
    FoodClass.LIME_JUICE: 244,
    FoodClass.EITHER_JUICE: 244,
    FoodClass.VINEGAR: 239,
}
_FIGURE = r"[0-9]+(?:[.,][0-9]+)?"
_STRENGTH = re.compile(  # "5 percent", "4-5 %", "50 grain"
    rf"(?:({_FIGURE})\s*(?:-|–|—|/|to|or|bis|à|a)\s*)?({_FIGURE})\s*-?\s*"
    r"(?:(%|٪|per\s?cent|pct|prozent|pour\s?cent|por\s?ciento|procent)|grain)"
)
_FRESH = frozenset(
    words_of(
        "fresh freshly squeezed pressed homemade home frisch frische frischer gepresst ausgepresst frais fraîche "
        "pressé fresco fresca frescos exprimido spremuto vers verse garden tree"
    )
)
_BOTTLED = frozenset(words_of("bottled bottle commercial commercially reconstituted"))
_WEAKENED = frozenset(words_of("diluted dilute thinned watered homemade home weak weakened"))
_SPOILING = frozenset({"sweetened", "without"})
_WHITE = frozenset(
    words_of(
        "white weiß weiss weiße weißer weißen weisse weisser weissen weißfleischig weißfleischige weissfleischig "
        "blanc blanche blancs blanches blanco blanca blancos blancas bianco bianca bianchi bianche branco branca wit "
        "witte biały biała białe babcock donut doughnut saturn"
    )
)
_WHITE_TOO = frozenset({"peach", "nectarine"})
_MASHED = frozenset(words_of("puree pureed purée mashed mash creamed blended riced butter paste püree mus puré"))
WHITE_PEACH = KnownFood("white peach", FoodClass.NEVER)


@dataclass(frozen=True)
class Fault:
    """Why a line's acid is not the tested acid. Weaker than tested is refused; not said waits until it is said."""

    field: str
    rule: str
    message: str
    is_refused: bool


@dataclass(frozen=True)
class Line:
    """One ingredient with the foods that its words name."""

    at: int
    ingredient: Ingredient
    item: FoodWords
    prep: FoodWords

    def field(self, name: str) -> str:
        return f"ingredients[{self.at}].{name}"

    @cached_property
    def words(self) -> frozenset[str]:
        return self.item.words | self.prep.words

    @cached_property
    def foods(self) -> tuple[KnownFood, ...]:
        """What the item names, and what its preparation adds to it beyond sugar, salt and spice."""
        added = (food for food in self.prep.foods if food.kind not in PLAIN)
        foods = tuple(dict.fromkeys((*self.item.foods, *added)))
        if self.words & _WHITE and any(food.name in _WHITE_TOO for food in foods):
            return (WHITE_PEACH, *foods)
        return tuple(self._dried(food) for food in foods)

    def _dried(self, food: KnownFood) -> KnownFood:
        """A dried or ground herb is a dry spice."""
        dry = self.words & {"dried", "dry", "ground", "powdered", "powder"} and "fresh" not in self.words
        return KnownFood("dry spice", FoodClass.SPICE) if food.name == "fresh herb" and dry else food

    @cached_property
    def kinds(self) -> frozenset[FoodClass]:
        return frozenset(food.kind for food in self.foods)

    @cached_property
    def key(self) -> frozenset[str]:
        """The foods that a tested recipe must name as well; empty for sugar, salt and dry spice."""
        return frozenset(food.name for food in self.foods if food.kind not in PLAIN)

    @property
    def named(self) -> str:
        item = self.ingredient.item
        return item if len(item) <= 60 else f"{item[:59]}…"

    @property
    def most(self) -> Fraction:
        return self.ingredient.amount_high or self.ingredient.amount

    @property
    def is_mashed(self) -> bool:
        return bool(self.words & _MASHED)

    @cached_property
    def acid(self) -> FoodClass | None:
        """The tested acid that this line is, if it names one and nothing else."""
        others = self.kinds - PLAIN
        return next(iter(others)) if len(others) == 1 and others <= ACIDS else None

    @property
    def names_acid(self) -> bool:
        return bool(self.kinds & ACIDS)

    @property
    def counts_as_acid(self) -> bool:
        """An acid that is always put in, under the role that keeps it from being cut."""
        line = self.ingredient
        refused = any(fault.is_refused for fault in self.faults(needed=True))
        is_in = line.use is Use.JAR and not line.optional
        return self.acid is not None and line.role is Role.ACID and is_in and not refused

    @property
    def acid_ml(self) -> Fraction | None:
        """How much acid there is at least; None where the unit does not say."""
        line = self.ingredient
        kind = unit_kind(line.unit)
        if kind == "volume":
            return convert(line.amount, line.unit, "ml")
        grams_a_cup = _CUP_GRAMS.get(self.acid) if self.acid else None
        if kind == "mass" and grams_a_cup:
            return convert(line.amount, line.unit, "g") * US_CUP_ML / grams_a_cup
        return None

    def faults(self, *, needed: bool) -> list[Fault]:
        """What is wrong with this line as an acid. `needed`: whether the jar is safe only because of it."""
        is_acid = self.ingredient.role is Role.ACID
        if not is_acid and not self.names_acid:
            return []
        if self.acid is None:
            return self._no_acid() if is_acid or needed else []
        found = self._role_fault() if not is_acid and (needed or self.acid not in JUICES) else []
        if self.acid is FoodClass.VINEGAR:
            return found + self._vinegar_faults()
        if self.acid in JUICES and (needed or is_acid):
            return found + self._juice_faults(needed)
        return found

    def _no_acid(self) -> list[Fault]:
        if not self.foods and self.item.unknown:
            return []  # said already: an unknown food
        if self.names_acid:
            message = f'"{self.named}" names more than the acid. Give the acid a line of its own.'
        else:
            message = f'"{self.named}" is no tested acid: those are vinegar, bottled lemon or lime juice, citric acid.'
        return [Fault(self.field("item"), "ACID-RATIO", message, True)]

    def _role_fault(self) -> list[Fault]:
        message = f'"{self.named}" is an acid. Give it the role acid, so that it is never cut or rounded down.'
        return [Fault(self.field("role"), "ACID-NEVER-LESS", message, True)]

    def _vinegar_faults(self) -> list[Fault]:
        line = self.ingredient
        if self.words & _WEAKENED:
            message = f'"{self.named}" is diluted or home-made; vinegar for keeping is commercial and undiluted.'
            return [Fault(self.field("item"), "VINEGAR-MIN", message, True)]
        strengths = strengths_in(f"{line.item} ; {line.prep}")
        if not strengths:
            message = f'"{self.named}" says no strength. Write "5 percent" in its preparation, if its source does.'
            return [Fault(self.field("prep"), "VINEGAR-MIN", message, False)]
        if min(strengths) < LOWEST_VINEGAR_PERCENT:
            message = f'"{self.named}" is weaker than 5 percent.'
            return [Fault(self.field("prep"), "VINEGAR-MIN", message, True)]
        return []

    def _juice_faults(self, needed: bool) -> list[Fault]:
        if self.words & _FRESH:
            message = f'"{self.named}" is fresh juice, whose acid varies. The tested acid is bottled juice.'
            return [Fault(self.field("prep"), "BOTTLED-JUICE", message, True)]
        if needed and (self.words & _SPOILING or not self.words & _BOTTLED):
            message = f'"{self.named}" does not say that it is bottled, unsweetened juice.'
            return [Fault(self.field("prep"), "BOTTLED-JUICE", message, False)]
        return []


def lines_of(recipe: TestedRecipe, foods: KnownFoods) -> tuple[Line, ...]:
    return tuple(
        Line(at, line, foods.read(line.item), foods.read(line.prep)) for at, line in enumerate(recipe.ingredients)
    )


def in_jar(lines: Iterable[Line]) -> tuple[Line, ...]:
    """Without what is poured off before the jars are filled: that neither weakens the acid nor is any."""
    return tuple(line for line in lines if line.ingredient.use is Use.JAR)


def strengths_in(text: str) -> list[Fraction]:
    """Every strength that `text` states, in percent; 50 grain is 5 percent."""
    found: list[Fraction] = []
    for low, high, percent in _STRENGTH.findall(unicodedata.normalize("NFKC", text).casefold()):
        values = [Fraction(figure.replace(",", ".")) for figure in (low, high) if figure]
        found.extend(value if percent else value / 10 for value in values)
    return found


def grams_at_most(line: Line) -> Fraction | None:
    """No more than this can the line weigh: a measured volume as if it were water. None for things counted."""
    kind = unit_kind(line.ingredient.unit)
    if kind == "mass":
        return convert(line.most, line.ingredient.unit, "g")
    return convert(line.most, line.ingredient.unit, "ml") if kind == "volume" else None


def grams_at_least(line: Line) -> Fraction:
    """No less than this the line weighs: a cup of anything cut weighs above a third of a cup of water.

    Leaves of mint, the lightest row of `foods_weights`, weigh 30 g a cup; no low-acid food in it weighs less than 89.
    """
    kind = unit_kind(line.ingredient.unit)
    if kind == "mass":
        return convert(line.ingredient.amount, line.ingredient.unit, "g")
    return convert(line.ingredient.amount, line.ingredient.unit, "ml") / 3 if kind == "volume" else Fraction(0)


def named_in_all(lines: Sequence[Line]) -> frozenset[str]:
    return frozenset(food.name for line in lines for food in line.foods)


# Whether a mixture keeps to the ratio of a tested recipe.
#
# A recipe keeps to a tested one when some size of pot of the tested recipe has no more of anything that weakens the
# acid and no less of anything that is sour. More acid is allowed, less is not; what the tested recipe does not name
# may not be in it, but for sugar, salt, pectin and dry spice. Tomatoes and the like do both: they may be neither more
# nor less.

# How much 5 percent vinegar an acid counts as, volume for volume: 1 tbsp of bottled lemon juice and 1/4 tsp of citric
# acid stand for 2 tbsp of vinegar (AIB 539, copy; NC State FAQ; printed for tomatoes).
VINEGAR_FOR: Mapping[FoodClass, int] = {
    FoodClass.VINEGAR: 1,
    FoodClass.LEMON_JUICE: 2,
    FoodClass.LIME_JUICE: 2,
    FoodClass.EITHER_JUICE: 2,
    FoodClass.CITRIC_ACID: 24,
}
_SOUR = ACIDS | {FoodClass.FRUIT}

Measure = tuple[frozenset[str], str]  # the foods of a line, and what their amount is measured in


@dataclass(frozen=True)
class TestedRatio:
    """The amounts of one tested boiling-water recipe, line by line."""

    slug: str
    sour: Mapping[Measure, Fraction]
    weakening: Mapping[Measure, Fraction]
    needs_bottled: bool
    salt_ml: Fraction = Fraction(0)  # of a ferment; nothing for what is not kept by salt

    def covers(self, lines: Sequence[Line]) -> bool:
        """Whether these lines keep to this ratio."""
        if any(line.item.unknown or line.prep.unknown or not line.foods for line in lines):
            return False
        if self.needs_bottled and any(fault for line in lines for fault in line.faults(needed=True)):
            return False
        sour, weakening = _amounts(lines)
        if not set(weakening) <= set(self.weakening) or set(sour) != set(self.sour):
            return False
        if not self.sour:
            return False
        scale = min(sour[measure] / self.sour[measure] for measure in self.sour)
        if salt_ml(lines) < scale * self.salt_ml:
            return False
        return scale > 0 and all(amount <= scale * self.weakening[key] for key, amount in weakening.items())


def ratio_of(slug: str, lines: Sequence[Line], *, by_salt: bool = False) -> TestedRatio:
    sour, weakening = _amounts(lines)
    says_bottled = all("bottled" in line.words for line in lines if line.acid in JUICES)
    salt = salt_ml(lines) if by_salt else Fraction(0)
    return TestedRatio(slug, sour, weakening, needs_bottled=says_bottled, salt_ml=salt)


def salt_ml(lines: Iterable[Line]) -> Fraction:
    """The salt that is measured by the spoon and always in."""
    salts = [
        line.ingredient
        for line in lines
        if line.ingredient.role is Role.SALT and not line.ingredient.optional and "salt" in line.words
    ]
    return sum(
        (convert(salt.amount, salt.unit, "ml") for salt in salts if unit_kind(salt.unit) == "volume"), Fraction(0)
    )


def _amounts(lines: Iterable[Line]) -> tuple[dict[Measure, Fraction], dict[Measure, Fraction]]:
    """What is sour at its least, and what weakens at its most; sugar, salt, pectin and dry spice are neither.

    An acid that is optional, or that stands under another role, is no acid here, and neither is a fruit.
    """
    sour: dict[Measure, Fraction] = defaultdict(Fraction)
    weakening: dict[Measure, Fraction] = defaultdict(Fraction)
    for line in lines:
        if not line.key:
            continue
        unit = line.ingredient.unit
        measure = unit if unit_kind(unit) == "count" else unit_kind(unit)
        is_sour = line.kinds <= _SOUR and not line.ingredient.optional
        if is_sour and line.acid and line.ingredient.role is not Role.ACID:
            is_sour = False
        is_both = FoodClass.NEAR in line.kinds and not line.ingredient.optional
        if is_sour or is_both:
            sour[line.key, measure] += line.ingredient.amount * UNITS[unit].size
        if not is_sour:
            weakening[line.key, measure] += line.most * UNITS[unit].size
    return sour, weakening


def vinegar_ml(lines: Iterable[Line]) -> Fraction:
    """The acid that is always in, as so much 5 percent vinegar; what cannot be measured counts as none."""
    total = Fraction(0)
    for line in lines:
        if line.counts_as_acid and line.acid is not None and (ml := line.acid_ml) is not None:
            total += ml * VINEGAR_FOR[line.acid]
    return total


def lowest_ratio(recipes: Iterable[Sequence[Line]]) -> Fraction:
    """The least vinegar, in ml, that any tested recipe has for a gram of its low-acid food; 0 where none is known."""
    ratios = []
    for lines in recipes:
        low = [line for line in lines if FoodClass.LOW_ACID in line.kinds and not line.ingredient.optional]
        weights = [grams for line in low if (grams := grams_at_most(line)) is not None]
        acid = vinegar_ml(lines)
        if low and acid and len(weights) == len(low) and sum(weights):
            ratios.append(acid / sum(weights))
    return min(ratios, default=Fraction(0))


# Tomatoes, figs and Asian pears: the published acid, by weight, by jar, and in what the text says of each jar.

# What a quart takes, in ml, by acid (rule ACID-PUBLISHED). Vinegar is printed for tomatoes only, and for Asian pears
# bottled lemon juice alone.
_LEMON = {FoodClass.LEMON_JUICE: 2 * TBSP_ML}
_CITRIC = {FoodClass.CITRIC_ACID: TSP_ML / 2}
_VINEGAR = {FoodClass.VINEGAR: 4 * TBSP_ML}
_TOMATO_ACID = {**_LEMON, **_CITRIC, **_VINEGAR}
A_QUART: Mapping[str, Mapping[FoodClass, Fraction]] = {
    "tomato": _TOMATO_ACID,
    "tomato product": _TOMATO_ACID,
    "green tomato": _TOMATO_ACID,
    "fig": {**_LEMON, **_CITRIC},
    "asian pear": _LEMON,
}
_ANY_ACID_A_QUART: Mapping[FoodClass, Fraction] = {
    kind: 4 * TBSP_ML / strength for kind, strength in VINEGAR_FOR.items()
}

# Pounds in a quart, from the published canner loads of 7 quarts (USDA AIB 539 Guides 2 and 3; NCHFP; Michigan State
# Ext.): tomatoes whole or halved 21 lb, crushed 22, for juice 23, for thin sauce 35, for thick sauce 46; figs 16;
# pears 17 1/2. Fewer pounds a quart ask for more acid, so the form with the fewest stands for every form not named.
_WHOLE = Fraction(21, 7)
_CRUSHED = Fraction(22, 7)
_JUICE = Fraction(23, 7)
_THIN_SAUCE = Fraction(35, 7)
_THICK_SAUCE = Fraction(46, 7)
_FIGS = Fraction(16, 7)
_ASIAN_PEARS = Fraction(35, 14)
_PRODUCT = Fraction(2)  # paste and sauce: a quart of water weighs 2.09 lb, and nothing of tomatoes is lighter

QUART_ML = JAR_ML["quart"]

_JARS = {
    "half pint": "half-pint",
    "quarter pint": "quarter-pint",
    "half gallon": "half-gallon",
    "quart": "quart",
    "pint": "pint",
    "litre": "quart",
    "liter": "quart",
}
_SAID = re.compile(r"([0-9]+(?: [0-9]+/[0-9]+|/[0-9]+|[.,][0-9]+)?)\s*([a-z]+(?:[ -]oz)?)\b")
_JAR_WORDS = re.compile(r"\b(half[ -]pint|quarter[ -]pint|half[ -]gallon|quart|pint|litre|liter|jar)s?\b")


class _Said(NamedTuple):
    """An amount in a sentence: how much, of which acid, for which jar."""

    ml: Fraction
    acid: FoodClass
    jar: str


def near_findings(
    recipe: TestedRecipe, near: Sequence[Line], lines: Sequence[Line], foods: KnownFoods, *, alone: bool
) -> list[Finding]:
    """What lacks of the published acid. `alone`: there is no other low-acid food in the jar."""
    return [*_by_weight(recipe, near, lines, alone=alone), *_by_jar(recipe, near, lines, foods)]


def _by_weight(recipe: TestedRecipe, near: Sequence[Line], lines: Sequence[Line], *, alone: bool) -> list[Finding]:
    known = [line for line in near if _quarts_of(line, recipe) is not None]
    quarts = near_quarts(recipe, near, alone=alone)
    field, name = _acid_field(near, lines), ", ".join(dict.fromkeys(line.named for line in near))
    need = quarts * 4 * TBSP_ML
    if vinegar_ml(lines) < need or not any(line.counts_as_acid for line in lines):
        message = (
            f"{name}: for {format_decimal(quarts, places=2)} quarts the least is {_least(near, quarts)}; here is less."
        )
        return [refused(field, "ACID-PUBLISHED", message)]
    if len(known) < len(near):
        counted = next(line for line in near if _quarts_of(line, recipe) is None)
        message = f'"{counted.named}" is counted, not weighed. Give its weight, so that the acid can be compared.'
        return [held(counted.field("unit"), "ACID-PUBLISHED", message)]
    if alone and not any(_enough(kind, each * quarts, lines) for kind, each in _printed_for(near).items()):
        message = f"{name}: no publication known here prints this acid, or two acids together, for it."
        return [held(field, "ACID-PUBLISHED", message, by_statement=True)]
    return []


def near_quarts(recipe: TestedRecipe, near: Sequence[Line], *, alone: bool) -> Fraction:
    """The quarts that the acid has to do for: of the food by weight, or of the stated yield where that is more."""
    known = [quarts for line in near if (quarts := _quarts_of(line, recipe)) is not None]
    yields = [each.high * JAR_ML[each.jar] / QUART_ML for each in (recipe.stated_yield, *recipe.other_yields)]
    by_weight = sum(known, Fraction(0))
    return max(by_weight, max(yields)) if alone else by_weight


def _printed_for(near: Sequence[Line]) -> dict[FoodClass, Fraction]:
    """The acids that are printed for every one of these foods, each with what a quart takes."""
    printed = [A_QUART[food.name] for line in near for food in line.foods if food.name in A_QUART]
    return {kind: max(each[kind] for each in printed) for kind in printed[0] if all(kind in each for each in printed)}


def _least(near: Sequence[Line], quarts: Fraction) -> str:
    names = {
        FoodClass.LEMON_JUICE: ("tbsp of bottled lemon juice", TBSP_ML),
        FoodClass.CITRIC_ACID: ("tsp of citric acid", TSP_ML),
        FoodClass.VINEGAR: ("tbsp of 5 percent vinegar", TBSP_ML),
    }
    parts = []
    for kind, each in _printed_for(near).items():
        unit, ml = names[kind]
        hundredths = -(-each * quarts * 100 // ml)  # never rounded down
        parts.append(f"{format_decimal(Fraction(hundredths, 100), places=2)} {unit}")
    return " or ".join(parts)


def _enough(kind: FoodClass, need: Fraction, lines: Sequence[Line]) -> bool:
    amounts = [line.acid_ml for line in lines if line.counts_as_acid and line.acid is kind]
    return sum((ml for ml in amounts if ml is not None), Fraction(0)) >= need


def _acid_field(near: Sequence[Line], lines: Sequence[Line]) -> str:
    acid = next((line for line in lines if line.counts_as_acid), None)
    return acid.field("amount") if acid else near[0].field("item")


def _quarts_of(line: Line, recipe: TestedRecipe) -> Fraction | None:
    """How many quarts the food of this line fills; a measured volume fills itself. None for things counted."""
    unit = line.ingredient.unit
    if unit_kind(unit) == "volume":
        return convert(line.most, unit, "ml") / QUART_ML
    if unit_kind(unit) == "mass":
        return convert(line.most, unit, "lb") / _pounds_a_quart(line, recipe)
    return None


def _pounds_a_quart(line: Line, recipe: TestedRecipe) -> Fraction:
    names = {food.name for food in line.foods}
    if "tomato product" in names:
        return _PRODUCT
    if "fig" in names:
        return _FIGS
    if "asian pear" in names:
        return _ASIAN_PEARS
    if "crushed" in line.words and "half" not in line.words:
        return _CRUSHED
    if recipe.kind == "sauce" and "reduced" in line.words:
        return _THICK_SAUCE if "half" in line.words else _THIN_SAUCE
    return _JUICE if "pressed" in line.words else _WHOLE


def _by_jar(recipe: TestedRecipe, near: Sequence[Line], lines: Sequence[Line], foods: KnownFoods) -> list[Finding]:
    """Every amount that the text gives for one jar, against the published one: the cook measures by this sentence."""
    texts = [
        *((line.field("prep"), line.ingredient.prep, line.acid) for line in lines if line.acid is not None),
        *((f"steps[{i}]", step.text, None) for i, step in enumerate(recipe.steps)),
    ]
    largest = max((row.jar for row in recipe.process), key=lambda jar: JAR_ML[jar], default="quart")
    least = {**_ANY_ACID_A_QUART, **_printed_for(near)}
    all_said = [
        *_said_of_jars(recipe, foods),
        *((field, said) for field, text, acid in texts for said in _said_in(text, acid, largest, foods)),
    ]
    found = []
    for field, said in all_said:
        if said.ml < least[said.acid] * JAR_ML[said.jar] / QUART_ML:
            message = f"For a {said.jar} this says less {said.acid.value} than is published."
            found.append(refused(field, "ACID-PUBLISHED", message))
    return found


def _said_of_jars(recipe: TestedRecipe, foods: KnownFoods) -> Iterable[tuple[str, _Said]]:
    """What the entry's own figures for each jar say, with the field of each."""
    said: list[tuple[str, JarFact | Alternative]] = []
    said += [(f"per_jar[{i}].amount", fact) for i, fact in enumerate(recipe.per_jar)]
    said += [(f"alternatives[{i}].amount", other) for i, other in enumerate(recipe.alternatives) if other.jar]
    for field, each in said:
        kinds = sorted({food.kind for food in foods.read(each.item).foods} & ACIDS)
        if each.role is Role.ACID and kinds and unit_kind(each.unit) == "volume":
            yield field, _Said(convert(each.amount, each.unit, "ml"), kinds[0], each.jar)


def _said_in(text: str, acid: FoodClass | None, largest: str, foods: KnownFoods) -> Iterable[_Said]:
    """The amounts of acid for one jar in each sentence of a text. An amount without a jar has that of the next one."""
    for sentence in re.split(r"[.;](?=\s|$)", text.casefold()):
        marks = [mark for mark in _SAID.finditer(sentence) if SPELLINGS.get(mark[2]) and _is_volume(mark[2])]
        ends = [*(mark.start() for mark in marks[1:]), len(sentence)][: len(marks)]
        spans = [sentence[mark.end() : end] for mark, end in zip(marks, ends, strict=True)]
        jars = [_jar_in(span, largest) for span in spans]
        for i in range(len(jars) - 2, -1, -1):
            jars[i] = jars[i] or jars[i + 1]
        for mark, span, jar in zip(marks, spans, jars, strict=True):
            named = {food.kind for food in foods.read(span).foods}
            if named & ACIDS:
                acid = next(kind for kind in sorted(named) if kind in ACIDS)
            elif named:
                continue
            value = parse_exact(mark[1].replace(",", "."))
            if acid is not None and jar and value is not None:
                yield _Said(convert(value, SPELLINGS[mark[2]], "ml"), acid, jar)


def _is_volume(word: str) -> bool:
    name = SPELLINGS[word]
    return unit_kind(name) == "volume" and name not in ("pint", "quart", "gallon", "l")


def _jar_in(span: str, largest: str) -> str:
    match = _JAR_WORDS.search(span)
    if match is None:
        return ""
    return _JARS.get(match[1].replace("-", " "), largest)


# The acid ledger of a recipe for the shelf: what refuses it, and what holds it back until a reviewer has settled it.
#
# Each line is a known food or it waits. Foods that are never canned are refused by what they are, whatever role they
# were given. Tomatoes, figs and Asian pears need the published acid by weight and by jar; any other mixture with low-
# acid
# food needs the ratio of a tested recipe. Nothing here knows a process time.

# Butter against foam, for a whole pot: grape-plum jelly (NCHFP), as the library has it.
MOST_BUTTER_ML = TSP_ML / 2
# More dry spice than this in one pot is no seasoning: a rule of this club.
MOST_SPICE_ML = US_CUP_ML
# Oil under pressure, as millilitres for a gram of all else; more is food in oil: a rule of this club.
MOST_OIL_SHARE = Fraction(1, 100)
# What is fermented with salt alone in print: sauerkraut and dill pickles (USDA Complete Guide, Guide 6).
FERMENTED_FOODS = frozenset({"cabbage", "cucumber", "sauerkraut"})
_SPREAD_KINDS = frozenset({"butter", "jam", "jelly", "preserve", "conserve", "marmalade", "pie-filling", "sauce"})


@dataclass(frozen=True)
class Ledger:
    """What is known for the judgement: the foods, and the ratios of the tested library."""

    foods: KnownFoods
    ratios: tuple[TestedRatio, ...]
    lowest: Fraction  # ml of vinegar for a gram of low-acid food, the least of any tested recipe but a ferment
    ferments: tuple[TestedRatio, ...] = ()  # kept by the acid that they make: no measure for anything else
    fat_under_pressure: tuple[TestedRatio, ...] = ()


def ledger_of(foods: KnownFoods, tested: Iterable[TestedRecipe]) -> Ledger:
    known = [recipe for recipe in tested if recipe.is_tested]
    jarred = [recipe for recipe in known if Method.BOILING_WATER in _methods(recipe)]
    boiled = [recipe for recipe in jarred if recipe.kind not in FERMENT_KINDS]
    pressed = [
        (recipe.slug, in_jar(lines_of(recipe, foods))) for recipe in known if _methods(recipe) == {Method.PRESSURE}
    ]
    return Ledger(
        foods,
        tuple(ratio_of(slug, lines) for slug, lines in _with_choices(boiled, foods)),
        lowest_ratio(in_jar(lines_of(recipe, foods)) for recipe in boiled),
        ferments=tuple(
            ratio_of(slug, lines, by_salt=True)
            for slug, lines in _with_choices([each for each in jarred if each.kind in FERMENT_KINDS], foods)
        ),
        fat_under_pressure=tuple(
            ratio_of(slug, lines) for slug, lines in pressed if any(FoodClass.OIL in line.kinds for line in lines)
        ),
    )


def _with_choices(recipes: list[TestedRecipe], foods: KnownFoods) -> Iterator[tuple[str, tuple[Line, ...]]]:
    """The lines in the jar of each recipe, and of each with a choice that its source prints."""
    for recipe in recipes:
        yield recipe.slug, in_jar(lines_of(recipe, foods))
    for recipe in recipes:
        for choice, other in variants(recipe):
            if choice.is_seen:
                yield recipe.slug, in_jar(lines_of(other, foods))


def judge(recipe: TestedRecipe, ledger: Ledger) -> tuple[Finding, ...]:
    """Everything that speaks against this recipe, in the order of its lines; nothing for one that is kept frozen."""
    methods = _methods(recipe)
    if recipe.method is Method.REFRIGERATOR:
        return tuple(_Case(recipe, ledger, lines_of(recipe, ledger.foods), boiling=True).in_the_refrigerator())
    if not methods & {Method.BOILING_WATER, Method.PRESSURE}:
        return ()
    boiling = Method.BOILING_WATER in methods
    found = _Case(recipe, ledger, lines_of(recipe, ledger.foods), boiling).findings()
    known = {one.message for one in found}
    for choice, other in variants(recipe):
        of_choice = _Case(other, ledger, lines_of(other, ledger.foods), boiling).findings()
        field = f'alternatives "{choice.name}"'
        found += [replace(one, field=field) for one in of_choice if one.message not in known]
    return tuple(dict.fromkeys(found))


def _methods(recipe: TestedRecipe) -> frozenset[Method]:
    return frozenset({recipe.method, *(row.method for row in recipe.process)})


@dataclass(frozen=True)
class _Case:
    """One recipe before the ledger. `boiling`: whether any jar of it is kept by boiling water (or steam)."""

    recipe: TestedRecipe
    ledger: Ledger
    all_lines: Sequence[Line]
    boiling: bool

    @cached_property
    def lines(self) -> tuple[Line, ...]:
        return in_jar(self.all_lines)

    @cached_property
    def low(self) -> list[Line]:
        return [line for line in self.lines if FoodClass.LOW_ACID in line.kinds]

    @cached_property
    def near(self) -> list[Line]:
        return [line for line in self.lines if FoodClass.NEAR in line.kinds]

    @cached_property
    def is_covered(self) -> bool:
        ferments = self.ledger.ferments if self.recipe.kind in FERMENT_KINDS else ()
        return any(ratio.covers(self.lines) for ratio in (*self.ledger.ratios, *ferments))

    @cached_property
    def needs_acid(self) -> bool:
        """Whether the jar is safe only because of acid that is put into it."""
        return bool(self.near and not self.low) or (self.boiling and bool(self.low or self.near))

    def findings(self) -> list[Finding]:
        found = [*self._unknown(), *self._never(), *self._named_elsewhere(), *self._acid_lines()]
        if self.boiling:
            found += self._much_spice()
        if self.boiling and not self.is_covered:
            found += [*self._untested(), *self._mixture()]
        if self.near and self.needs_acid and not (self.low and self.is_covered):
            found += near_findings(self.recipe, self.near, self.lines, self.ledger.foods, alone=not self.low)
        if self.boiling and self.needs_acid:
            found += self._weak_steps()
        return list(dict.fromkeys(found))

    def in_the_refrigerator(self) -> list[Finding]:
        """What no cold makes fit to eat after weeks; the rest is a reviewer's to compare with its source."""
        found = self._oil()
        if self.low and not self._is_ferment() and not any(line.counts_as_acid for line in self.lines):
            names = ", ".join(dict.fromkeys(line.named for line in self.low))
            message = f"{names}: low-acid food that no acid keeps lasts some days in the refrigerator, and no weeks."
            found.append(refused(self.low[0].field("item"), "COLD-LOW-ACID", message))
        return found

    def _unknown(self) -> list[Finding]:
        found = []
        for line in self.all_lines:
            for field, words in (("item", line.item), ("prep", line.prep)):
                for unknown in words.unknown:
                    message = f'"{unknown}" in "{line.named}" is no food or word that the acid list knows.'
                    found.append(held(line.field(field), "KNOWN-FOOD", message, unknown=unknown))
            if not line.foods and not line.item.unknown:
                message = f'"{line.named}" names no food. Say which.'
                found.append(held(line.field("item"), "KNOWN-FOOD", message))
        return found

    def _never(self) -> list[Finding]:
        found = []
        for line in self.lines:
            for food in line.foods:
                if reason := self._why_never(line, food.kind, food.name):
                    rule, why = reason
                    found.append(refused(line.field("item"), rule, f'"{line.named}" ({food.name}): {why}'))
        return [*found, *self._oil()]

    def _why_never(self, line: Line, kind: FoodClass, name: str) -> tuple[str, str] | None:
        if kind is FoodClass.NEVER:
            return "NEVER-CANNED", "no tested process keeps it on a shelf."
        if kind is FoodClass.PRESSURE_ONLY and self.boiling:
            return "NEVER-CANNED", "no tested process keeps it in boiling water."
        if name == "pumpkin" and (line.is_mashed or self.recipe.kind in _SPREAD_KINDS):
            return (
                "NEVER-PUREE",
                "pumpkin and winter squash are kept as cubes under pressure, never as a puree or butter.",
            )
        if kind is FoodClass.LOW_ACID and line.is_mashed:
            return "NEVER-PUREE", "as a puree it is too dense for any tested process."
        if kind is FoodClass.STARCH and not self.boiling:
            return "NEVER-CANNED", "a starch or flour keeps the heat from the middle of the jar."
        return None

    def _oil(self) -> list[Finding]:
        oils = [line for line in self.lines if FoodClass.OIL in line.kinds]
        if not oils or (self.boiling and self.is_covered):
            return []
        if self.boiling:
            beside = self.low or any("fresh herb" in line.key or "garlic" in line.key for line in self.lines)
            if not beside:
                return []  # held back as untested
        elif self._little_oil(oils) or any(ratio.covers(self.lines) for ratio in self.ledger.fat_under_pressure):
            return []
        message = "with vegetables, garlic or herbs in the same jar has no tested process."
        return [refused(line.field("item"), "NEVER-OIL", f'"{line.named}" {message}') for line in oils]

    def _little_oil(self, oils: list[Line]) -> bool:
        """Under pressure: oil that is nothing beside the food. What cannot be measured is not little."""
        if any(unit_kind(line.ingredient.unit) != "volume" or len(line.key) > 1 for line in oils):
            return False
        oil = sum(convert(line.most, line.ingredient.unit, "ml") for line in oils)
        body = sum(grams_at_least(line) for line in self.lines if line not in oils and line.key - {"water"})
        return oil <= body * MOST_OIL_SHARE

    def _named_elsewhere(self) -> list[Finding]:
        """Title and produce name no such food that no line names: the jar would hold what the ledger never saw."""
        produce = [(f"produce[{i}]", name) for i, name in enumerate(self.recipe.produce)]
        kinds = {FoodClass.NEVER, FoodClass.NEAR} | ({FoodClass.PRESSURE_ONLY} if self.boiling else set())
        on_lines = {food.name for line in self.lines for food in line.foods}
        if on_lines & {"tomato", "tomato product", "green tomato"}:
            on_lines |= {"tomato", "tomato product", "green tomato"}
        found = []
        for field, text in [("title", self.recipe.title), *produce]:
            for food in self.ledger.foods.read(text).foods:
                if food.kind in kinds and food.name not in on_lines:
                    message = f'"{text}" names {food.name}, but no ingredient does. Correct the one or the other.'
                    found.append(held(field, "KNOWN-FOOD", message))
        return found

    def _acid_lines(self) -> list[Finding]:
        if not self.boiling and not self.needs_acid:
            return []
        needed = self.needs_acid and not self.is_covered
        return [
            Finding(fault.field, fault.message, fault.rule, fault.is_refused)
            for line in self.lines
            for fault in line.faults(needed=needed)
        ]

    def _untested(self) -> list[Finding]:
        """What may be in a jar for boiling water only as a tested recipe has it."""
        found = []
        for line in self.lines:
            field, name = line.field("item"), line.named
            if FoodClass.STARCH in line.kinds:
                message = f'"{name}" thickens; in boiling water it is allowed only as a tested recipe has it.'
                found.append(refused(field, "NEVER-CANNED", message))
            if FoodClass.BUTTER in line.kinds and not self._little_butter(line):
                message = f'"{name}": more than 1/2 tsp of butter for a pot has no tested process.'
                found.append(refused(field, "NEVER-CANNED", message))
            if line.kinds & {FoodClass.UNTESTED, FoodClass.OIL, FoodClass.NO_TESTED_ACID}:
                message = f'"{name}" is allowed only as a tested recipe has it, and none that is known here does.'
                found.append(held(field, "ACID-RATIO", message, by_statement=True))
        return found

    def _much_spice(self) -> list[Finding]:
        return [
            held(line.field("amount"), "ACID-RATIO", f'"{line.named}" is more than a seasoning.', by_statement=True)
            for line in self.lines
            if line.kinds == {FoodClass.SPICE} and _size(line) > MOST_SPICE_ML
        ]

    @staticmethod
    def _little_butter(line: Line) -> bool:
        unit = line.ingredient.unit
        return unit_kind(unit) == "volume" and convert(line.most, unit, "ml") <= MOST_BUTTER_ML

    def _mixture(self) -> list[Finding]:
        """Low-acid food in boiling water, away from every tested ratio."""
        if not self.low:
            return []
        names = ", ".join(dict.fromkeys(line.named for line in self.low))
        if not any(line.counts_as_acid for line in self.lines):
            if self._is_ferment():
                message = f"{names}: a ferment is kept in boiling water only by the salt of a tested recipe."
                return [held("ingredients", "ACID-RATIO", message, by_statement=True)]
            message = f"{names}: low-acid food in boiling water without a tested acid that is always put in."
            return [refused(self.low[0].field("item"), "LOWACID-METHOD", message)]
        if vinegar_ml(self.lines) < self.ledger.lowest * sum(grams_at_least(line) for line in self.low):
            message = f"{names}: less acid for this much low-acid food than in any tested recipe."
            return [refused(self._acid_field(), "ACID-RATIO", message)]
        message = f"{names}: this ratio of acid to low-acid food is not that of a tested recipe known here."
        return [held(self._acid_field(), "ACID-RATIO", message, by_statement=True)]

    def _acid_field(self) -> str:
        return next(line.field("amount") for line in self.lines if line.counts_as_acid)

    def _is_ferment(self) -> bool:
        salted = any(
            line.ingredient.role is Role.SALT and not line.ingredient.optional and not line.key for line in self.lines
        )
        names = {food.name for line in self.low for food in line.foods}
        return self.recipe.kind in FERMENT_KINDS and salted and names <= FERMENTED_FOODS

    def _weak_steps(self) -> list[Finding]:
        """A step that asks for weaker vinegar than the line says."""
        found = []
        for i, step in enumerate(self.recipe.steps):
            named = self.ledger.foods.read(step.text).foods
            if any(food.kind in ACIDS for food in named) and any(
                strength < LOWEST_VINEGAR_PERCENT for strength in strengths_in(step.text)
            ):
                message = "This step asks for an acid weaker than 5 percent."
                found.append(refused(f"steps[{i}]", "VINEGAR-MIN", message))
        return found


def _size(line: Line) -> Fraction:
    """Millilitres or grams; nothing for things that are counted."""
    unit = line.ingredient.unit
    kind = unit_kind(unit)
    return Fraction(0) if kind == "count" else convert(line.most, unit, "ml" if kind == "volume" else "g")


# The ledger as its readers see it: every line with what it is, and the acid asked for beside the acid given.


@dataclass(frozen=True)
class SheetLine:
    """One ingredient: the foods it names, and as how much 5 percent vinegar its acid counts (None: it is no acid)."""

    at: int
    foods: tuple[KnownFood, ...]
    unknown: tuple[str, ...]
    vinegar_ml: Fraction | None


@dataclass(frozen=True)
class AcidSheet:
    """`required_ml` and `given_ml` are both as 5 percent vinegar, for one pot.

    `required_ml` None: no acid is asked for, or the amount cannot be worked out from what is counted and not weighed.
    `rule` names what asks for it; `tested` is the tested recipe whose ratio is kept, if there is one.
    """

    lines: tuple[SheetLine, ...]
    needs_acid: bool
    given_ml: Fraction
    required_ml: Fraction | None
    rule: str
    tested: str

    @property
    def statement(self) -> str:
        return RULES[self.rule].statement if self.rule else ""

    @property
    def is_short(self) -> bool:
        return self.required_ml is not None and self.given_ml < self.required_ml


def acid_sheet(recipe: TestedRecipe, ledger: Ledger) -> AcidSheet | None:
    """None for what is kept frozen: no acid keeps that."""
    methods = _methods(recipe)
    if not methods & {Method.BOILING_WATER, Method.PRESSURE}:
        return None
    case = _Case(recipe, ledger, lines_of(recipe, ledger.foods), Method.BOILING_WATER in methods)
    rows = tuple(
        SheetLine(
            line.at,
            line.foods,
            (*line.item.unknown, *line.prep.unknown),
            vinegar_ml([line]) if line.counts_as_acid else None,
        )
        for line in case.all_lines
    )
    tested = next((ratio.slug for ratio in ledger.ratios if ratio.covers(case.lines)), "")
    required, rule = _required(case) if case.needs_acid else (None, "")
    return AcidSheet(rows, case.needs_acid, vinegar_ml(case.lines), required, rule, tested)


def _required(case: _Case) -> tuple[Fraction | None, str]:
    """What is published by weight for tomatoes and the like; else the least of any tested recipe for so much food."""
    if case.near and not (case.low and case.is_covered):
        return near_quarts(case.recipe, case.near, alone=not case.low) * 4 * TBSP_ML, "ACID-PUBLISHED"
    weights = [grams_at_least(line) for line in case.low]
    if case.boiling and all(weights):
        return case.ledger.lowest * sum(weights), "ACID-RATIO"
    return None, "ACID-RATIO"
