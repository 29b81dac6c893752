"""A recipe's ingredients as the acid of the jar sees them: which foods each line names, and how much acid it brings.

Amounts are never taken from the weights that a recipe states about itself, only from the measured amount.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from recipes.engine.acidity_foods import ACIDS, JUICES, PLAIN, FoodClass, FoodWords, KnownFood, KnownFoods, words_of
from recipes.engine.terms import Ingredient, Role, TestedRecipe
from recipes.engine.units import US_CUP_ML, convert, unit_kind

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
        return self.acid is not None and line.role is Role.ACID and not line.optional and not refused

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
