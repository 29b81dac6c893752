"""Food prepared another way than printed: mashed, cut, peeled or cooked otherwise, in place of what was tested."""

from __future__ import annotations

import pytest

from recipes.engine.changes import Ruling, check_change
from recipes.engine.terms import Method, Role
from tests.published.library import recipes

MASHES = ("mashed", "pureed", "creamed", "blended", "riced", "whipped")
SWAPS = ("swap {old} for {new}", "use {new} instead of {old}", "{new} instead of {old}", "swap {new} for {old}")
# Every vegetable of a recipe that is safe by pressure alone.
UNDER_PRESSURE = [
    (slug, line.item)
    for slug, recipe in recipes().items()
    if recipe.method is Method.PRESSURE
    for line in recipe.ingredients
    if line.role is Role.LOW_ACID
]


def allowed(slug: str, texts: list[str]) -> list[tuple[str, str]]:
    """The texts that are not refused, with the rule that let them pass."""
    answers = [check_change(recipes()[slug], text) for text in texts]
    return [(answer.change, answer.rule) for answer in answers if answer.verdict is not Ruling.REFUSED]


# Mashed


def test_recipes_under_pressure_are_there_to_be_asked_about():
    assert len({slug for slug, _ in UNDER_PRESSURE}) >= 8


@pytest.mark.parametrize(("slug", "item"), UNDER_PRESSURE)
def test_no_mash_takes_the_place_of_a_vegetable_under_pressure(slug, item):
    texts = [swap.format(old=item, new=f"{mash} {item}") for mash in MASHES for swap in SWAPS]
    assert allowed(slug, texts) == []


@pytest.mark.parametrize(
    ("slug", "text"),
    [
        ("lima-beans", "swap lima beans for mashed lima beans"),
        ("carrots", "pureed carrots instead of sliced carrots"),
        ("potatoes-white", "swap potatoes for pureed potatoes"),
        ("corn-whole-kernel", "swap corn for creamed sweet corn"),
        ("corn-whole-kernel", "swap corn for cream style corn"),
        ("corn-whole-kernel", "creamed corn instead of corn"),
        ("pickled-beets", "mashed beets instead of sliced beets"),
        ("snap-beans", "swap beans for mashed wax beans"),
        ("dilly-beans-usda", "swap beans for mashed wax beans"),
        ("chile-salsa", "mashed red onions instead of onions"),
    ],
)
def test_a_mash_is_told_why(slug, text):
    assert check_change(recipes()[slug], text).rule == "NEVER-PUREE"
