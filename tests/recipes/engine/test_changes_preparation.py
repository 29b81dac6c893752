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


# Cut, size, peel and cooking


@pytest.mark.parametrize(("slug", "item"), UNDER_PRESSURE)
def test_no_vegetable_under_pressure_is_cut_or_sized_or_cooked_in_a_way_that_its_line_does_not_say(slug, item):
    preps = {"grated", "minced", "crushed", "large", "roasted", "unpeeled", "ground"} - set(item.split())
    if item == "peppers":
        preps -= {"roasted"}  # their skins are blistered in an oven before they are canned
    texts = [swap.format(old=item, new=f"{prep} {item}") for prep in sorted(preps) for swap in SWAPS]
    assert allowed(slug, texts) == []


@pytest.mark.parametrize(
    ("slug", "text", "rule"),
    [
        ("carrots", "swap carrots for whole carrots", "PREP-CHANGED"),
        ("carrots", "use the whole carrots", "PREP-CHANGED"),
        ("carrots", "swap whole carrots for carrots", "PREP-CHANGED"),
        ("carrots", "swap the sliced carrots for whole ones", "PREP-CHANGED"),
        ("carrots", "swap carrots for grated carrots", "PREP-CHANGED"),
        ("carrots", "grated carrots 17 1/2 lb", "PREP-CHANGED"),
        ("carrots", "swap carrots for large carrots", "PREP-CHANGED"),
        ("lima-beans", "swap lima beans for ground lima beans", "PREP-CHANGED"),
        ("snap-beans", "whole wax beans instead of beans", "PREP-CHANGED"),
        ("chile-salsa", "whole red onions instead of chopped yellow ones", "PREP-CHANGED"),
        ("chile-salsa", "whole jalapenos instead of chile peppers", "PREP-CHANGED"),
        ("chile-salsa", "whole instead of fresh chile", "PREP-CHANGED"),
        ("chile-salsa", "whole instead of fresh chile peppers", "NOT-UNDERSTOOD"),
        ("pears-halved", "whole pears", "PREP-CHANGED"),
        ("apricots-halved", "use whole apricots", "PREP-CHANGED"),
        ("strawberry-jam-liquid", "use whole strawberries", "PREP-CHANGED"),
        ("tomatoes-raw-no-liquid", "cooked tomatoes", "PREP-CHANGED"),
        ("tomatoes-raw-no-liquid", "cooked green tomatoes instead of tomatoes", "PREP-CHANGED"),
        ("tomatoes-raw-no-liquid", "unpeeled roma tomatoes", "PREP-PEEL"),
        ("potatoes-white", "swap potatoes for unpeeled potatoes", "PREP-PEEL"),
        ("cranberry-orange-chutney", "use mashed golden raisins", "PREP-CHANGED"),
    ],
)
def test_another_preparation_than_the_lines_own_is_refused_as_that(slug, text, rule):
    assert check_change(recipes()[slug], text).rule == rule


@pytest.mark.parametrize(
    ("slug", "text", "rule"),
    [
        ("carrots", "swap carrots for diced carrots", "SAME-FOOD"),
        ("potatoes-white", "swap potatoes for whole potatoes", "SAME-FOOD"),
        ("pears-halved", "use peeled pears", "SAME-FOOD"),
        ("chile-salsa", "chopped red onions instead of onions", "ONION-SWAP"),
        ("strawberry-jam-liquid", "use crushed strawberries", "SAME-FOOD"),
        ("strawberry-jam-liquid", "use frozen strawberries", "FRUIT-FROZEN"),
        ("tomatoes-raw-no-liquid", "peeled roma tomatoes instead of tomatoes", "TOMATO-KIND"),
        ("pickled-beets", "whole cloves", "SPICE-DRY"),
    ],
)
def test_the_preparation_that_the_line_says_may_be_said_again(slug, text, rule):
    assert check_change(recipes()[slug], text).rule == rule


def test_what_is_refused_in_any_preparation_keeps_its_own_reason():
    assert check_change(recipes()["carrots"], "diced chicken instead of carrots").rule == "NEVER-MEAT-FISH"
    assert check_change(recipes()["carrots"], "cubed ham instead of carrots").rule == "NEVER-MEAT-FISH"


# What a recipe itself allows


@pytest.mark.parametrize(
    "how", ["mashed", "dried", "canned", "frozen", "grated", "whole", "large", "ground", "cooked", "unpeeled"]
)
@pytest.mark.parametrize("swap", ["{} zucchini instead of cucumbers", "swap cucumbers for {} zucchini"])
def test_zucchini_allowed_for_cucumbers_is_not_allowed_in_another_form(how, swap):
    assert allowed("bread-and-butter-pickles", [swap.format(how)]) == []


@pytest.mark.parametrize(
    ("slug", "text"),
    [
        ("bread-and-butter-pickles", "use mashed zucchini"),
        ("peach-pineapple-spread", "canned apricots instead of peaches"),
        ("peach-pineapple-spread", "dried apricots instead of peaches"),
        ("peach-pineapple-spread", "whole plums instead of peaches"),
        ("berry-jam-plain", "freeze-dried strawberries instead of berries"),
        ("berry-jam-plain", "use freeze-dried strawberries"),
        ("berry-jam-plain", "canned strawberries instead of berries"),
    ],
)
def test_fruit_that_a_recipe_allows_is_not_allowed_in_another_form(slug, text):
    assert allowed(slug, [text]) == []


@pytest.mark.parametrize(
    ("slug", "text", "rule"),
    [
        ("bread-and-butter-pickles", "zucchini instead of cucumbers", "RECIPE-ALLOWS"),
        ("bread-and-butter-pickles", "slender zucchini for the cucumbers", "RECIPE-ALLOWS"),
        ("bread-and-butter-pickles", "sliced fresh zucchini for the cucumbers", "RECIPE-ALLOWS"),
        ("peach-pineapple-spread", "peeled plums instead of peaches", "RECIPE-ALLOWS"),
        ("berry-jam-plain", "crushed strawberries instead of berries", "SAME-FOOD"),
    ],
)
def test_what_a_recipe_allows_may_be_named_as_its_line_is_prepared(slug, text, rule):
    assert check_change(recipes()[slug], text).rule == rule


# One food on both sides


@pytest.mark.parametrize(
    ("slug", "text"),
    [
        ("pears-halved", "swap mashed pears for pears"),
        ("rhubarb-stewed", "swap pureed rhubarb for rhubarb"),
        ("golden-pepper-jelly-liquid", "swap mashed serrano peppers for serrano peppers"),
        ("bread-and-butter-pickles", "swap minced onions for onions"),
        ("carrots", "swap ground carrots for carrots"),
    ],
)
def test_of_one_food_on_both_sides_either_may_be_what_goes_in(slug, text):
    assert allowed(slug, [text]) == []


@pytest.mark.parametrize(
    ("slug", "text"),
    [
        ("strawberry-jam-liquid", "swap frozen strawberries for fresh strawberries"),
        ("strawberry-jam-liquid", "swap fresh strawberries for frozen strawberries"),
        ("chile-salsa", "swap onions for red onions"),
        ("chile-salsa", "swap red onions for yellow onions"),
        ("snap-beans", "swap green beans for wax beans"),
        ("chow-chow-setp", "white sugar for brown sugar"),
    ],
)
def test_one_food_on_both_sides_is_allowed_where_either_way_is(slug, text):
    assert check_change(recipes()[slug], text).verdict is Ruling.FINE
