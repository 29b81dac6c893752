"""Tested recipes that fit what is offered, and how much of it one pot takes."""

from __future__ import annotations

from dataclasses import dataclass

from inventory.fruit.models import Offer
from inventory.fruit.pots import pot_needs_g
from recipes.indexing import barred
from recipes.models import Recipe


@dataclass(frozen=True)
class PotOf:
    """A recipe and what one pot of it takes, in grams and in the offer's units, rounded up."""

    recipe: Recipe
    grams: int
    units: int


def pots_of(offer: Offer) -> list[PotOf]:
    """By title; recipes that do not say how much fruit they take are left out. One query."""
    found = Recipe.objects.published().filter(produce__contains=barred([offer.produce])).select_related("current")
    pots = []
    for recipe in found.order_by("title", "pk"):
        revision = recipe.current
        assert revision is not None  # published() says so
        revision.recipe = recipe
        grams = pot_needs_g(revision.tested, offer.produce, offer.state)
        if grams is not None:
            pots.append(PotOf(recipe, grams, -(-grams // offer.unit_g)))
    return pots
