"""Stated beside predicted: how many jars a source prints for a pot, and how many the mass balance gives."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from recipes.engine.foods import PUBLISHED, Foods, Span
from recipes.engine.solids import pot_balance
from recipes.engine.terms import Refusal, Seen, StatedYield, TestedRecipe


@dataclass(frozen=True)
class YieldRow:
    """One recipe. `predicted` is in jars of `stated.jar`; None with the refusal's message in `why_not`.

    `is_suspect`: the source's own figure cannot be right; it is shown, and is no truth to check against.
    `off_by` is in jars, from the nearest stated count to the nearest end of the interval in whole jars.
    """

    slug: str
    kind: str
    pectin: str
    stated: StatedYield
    predicted: Span | None
    brix: Span | None
    whole_jars: tuple[int, int] | None
    estimates: tuple[str, ...]
    why_not: str = ""

    @property
    def is_suspect(self) -> bool:
        return self.stated.seen is Seen.SUSPECT

    @property
    def is_within(self) -> bool:
        return self.off_by == 0

    @property
    def off_by(self) -> Fraction | None:
        if self.whole_jars is None:
            return None
        low, high = self.whole_jars
        if self.stated.low > high:
            return self.stated.low - high
        return self.stated.high - low if self.stated.high < low else Fraction(0)


def yield_row(recipe: TestedRecipe, foods: Foods = PUBLISHED) -> YieldRow:
    """The row of one recipe, at sea level."""
    found = pot_balance(recipe, foods=foods)
    fixed = (recipe.slug, recipe.kind, recipe.pectin, recipe.stated_yield)
    if isinstance(found, Refusal):
        return YieldRow(*fixed, None, None, None, (), found.message)
    return YieldRow(*fixed, found.jars, found.brix, found.whole_jars, found.estimates)


def yield_rows(recipes: Iterable[TestedRecipe], foods: Foods = PUBLISHED) -> list[YieldRow]:
    """One row a recipe, in the order given."""
    return [yield_row(recipe, foods) for recipe in recipes]
