"""Whether a mixture keeps to the ratio of a tested recipe.

A recipe keeps to a tested one when some size of pot of the tested recipe has no more of anything that weakens the
acid and no less of anything that is sour. More acid is allowed, less is not; what the tested recipe does not name
may not be in it, but for sugar, salt, pectin and dry spice. Tomatoes and the like do both: they may be neither more
nor less.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from recipes.engine.acidity_foods import ACIDS, JUICES, FoodClass
from recipes.engine.acidity_lines import Line, grams_at_most
from recipes.engine.terms import Role
from recipes.engine.units import UNITS, unit_kind

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
        return scale > 0 and all(amount <= scale * self.weakening[key] for key, amount in weakening.items())


def ratio_of(slug: str, lines: Sequence[Line]) -> TestedRatio:
    sour, weakening = _amounts(lines)
    says_bottled = all("bottled" in line.words for line in lines if line.acid in JUICES)
    return TestedRatio(slug, sour, weakening, needs_bottled=says_bottled)


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
