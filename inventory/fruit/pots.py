"""What one pot of a recipe needs of somebody's fruit, as it comes from the tree. Pure sums on the engine's terms."""

from __future__ import annotations

from math import ceil

from inventory.fruit.containers import JUICE
from inventory.fruit.produce import PRODUCE
from recipes.engine.foods import form_of, words_of
from recipes.engine.scaling import fruit_lines
from recipes.engine.terms import Ingredient, Refusal, TestedRecipe
from recipes.engine.units import UNITS
from recipes.engine.weighing import weigh_line

STEP_G = 50  # rounded up to what a kitchen scale and a bucket make sense of


def pot_needs_g(recipe: TestedRecipe, produce: str, state: str) -> int | None:
    """Grams of this produce, as bought, for one pot as printed; None where the recipe does not let us say.

    A recipe that measures juice says nothing of how much fruit gives it, and the other way round. What a recipe weighs
    it weighs as bought; where it measures cups, what is pitted or cut away comes on top, by USDA's refuse table.
    """
    one = PRODUCE[produce]
    lines = [line for line in fruit_lines(recipe) if one.food and _names(line, one.food)]
    if not lines or any((form_of(line) == "juice") != (state == JUICE) for line in lines):
        return None
    grams = 0.0
    for line in lines:
        weighed = weigh_line(line, pectin=recipe.pectin)
        if isinstance(weighed, Refusal):
            return None
        is_as_bought = state == JUICE or UNITS[line.unit].kind == "mass" or one.refuse_pct is None
        grams += weighed.grams.best if is_as_bought else weighed.grams.best * 100 / (100 - (one.refuse_pct or 0))
    return ceil(grams / STEP_G) * STEP_G


def _names(line: Ingredient, food: str) -> bool:
    """Whether the line is about this food: "sour cherries, pitted" is about cherry, "crab apples" not about apple."""
    words = set(words_of(line.item))
    plainer = {"apple": "crab", "tomato": "green"}.get(food)
    return set(words_of(food)) <= words and plainer not in words
