"""Unsafe phrases in whatever company: never fine, and never only a matter of quality."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from recipes.engine.changes import Ruling, check_change, check_changes
from tests.helpers import IS_WHOLE
from tests.published.library import recipes
from tests.recipes.engine.unsafe_changes import CONNECTORS, RECIPES, crossed, unsafe_phrases

OF_EACH_RECIPE = 400 if IS_WHOLE else 60
# Wishes that somebody thought up by hand to get past the reader; each is unsafe for every recipe of its group.
GROUPS = {
    "vinegar": ("bread-and-butter-pickles", "dilly-beans-usda", "pickled-beets"),
    "juice": ("tomatoes-raw-no-liquid", "tomato-juice"),
    "balance": ("chile-salsa", "salsa-tomato-paste", "sweet-pepper-relish"),
    "low-acid": ("snap-beans", "carrots"),
    "jam": ("strawberry-jam-liquid", "berry-jam-plain"),
}
with (Path(__file__).parent / "unsafe_wishes.csv").open(newline="", encoding="utf-8") as file:
    WISHES = list(csv.DictReader(file))
with (Path(__file__).parent / "unsafe_by_recipe.csv").open(newline="", encoding="utf-8") as file:
    OF_ONE_RECIPE = list(csv.DictReader(file))


def allowed(slug: str, texts: list[str]) -> list[tuple[str, str]]:
    """The texts that are not refused, with the rule that let them pass."""
    answers = [check_change(recipes()[slug], text) for text in texts]
    return [(answer.change, answer.rule) for answer in answers if answer.verdict is not Ruling.REFUSED]


@pytest.mark.parametrize("slug", RECIPES)
def test_an_unsafe_phrase_is_refused_alone_and_in_any_company(slug):
    assert allowed(slug, crossed(recipes()[slug], OF_EACH_RECIPE)) == []


def test_the_crossing_is_large_and_made_of_many_recipes():
    texts = {(slug, text) for slug in RECIPES for text in crossed(recipes()[slug], OF_EACH_RECIPE)}
    assert len(texts) >= (10_000 if IS_WHOLE else 2_000)
    assert len(RECIPES) >= 10
    assert sum(len(unsafe_phrases(recipes()[slug])) for slug in RECIPES) >= 5000


@pytest.mark.parametrize("group", GROUPS)
def test_a_wish_thought_up_to_get_past_the_reader_is_refused(group):
    texts = [row["text"] for row in WISHES if row["group"] == group]
    assert len(texts) >= 50
    assert {slug: allowed(slug, texts) for slug in GROUPS[group]} == {slug: [] for slug in GROUPS[group]}


def test_a_wish_that_is_unsafe_for_one_recipe_is_refused():
    """With reasons, slips of the pen, tools and times to open the jar round it, as people write."""
    slugs = {row["recipe"] for row in OF_ONE_RECIPE}
    assert len(OF_ONE_RECIPE) >= 300
    assert len(slugs) >= 30
    texts = {slug: [row["text"] for row in OF_ONE_RECIPE if row["recipe"] == slug] for slug in slugs}
    assert [found for slug in sorted(slugs) for found in allowed(slug, texts[slug])] == []


# What the connectors hold is allowed by itself: the crossing fails on the unsafe phrase and not on its company.
COMPANY = ("add cinnamon", "add 1 tsp cinnamon", "more cinnamon", "use new lids", "new lids", "smaller jar")


@pytest.mark.parametrize("text", COMPANY)
def test_the_company_of_the_phrases_is_harmless(text):
    assert any(text in connector for connector in CONNECTORS)
    assert check_change(recipes()["bread-and-butter-pickles"], text).verdict is Ruling.FINE


HARMLESS = [
    ("chile-salsa", "cider vinegar instead of vinegar"),
    ("chile-salsa", "bottled lime juice instead of vinegar"),
    ("chile-salsa", "add cumin and use cider vinegar"),
    ("chile-salsa", "add cumin and cider vinegar instead of vinegar"),
    ("chile-salsa", "omit salt; cider vinegar instead of vinegar"),
    ("chile-salsa", "red onions instead of yellow"),
    ("chile-salsa", "use mild peppers instead of hot"),
    ("chile-salsa", "half the onions"),
    ("chile-salsa", "half the recipe"),
    ("chile-salsa", "vinegar 1 cup"),
    ("salsa-tomato-paste", "omit salt and use bottled lime juice instead of lemon juice"),
    ("salsa-tomato-paste", "omit salt and sugar"),
    ("salsa-tomato-paste", "half the salt"),
    ("bread-and-butter-pickles", "add 1/2 tsp cumin and 1 tsp turmeric"),
    ("bread-and-butter-pickles", "use 5% white vinegar"),
    ("bread-and-butter-pickles", "vinegar 1 quart"),
    ("bread-and-butter-pickles", "swap 4 cups vinegar -> 4 cups cider vinegar"),
    ("tomatoes-raw-no-liquid", "2 tbsp bottled lemon juice per quart"),
    ("tomatoes-raw-no-liquid", "2 tbsp bottled lime juice per quart instead of lemon juice"),
    ("tomatoes-raw-no-liquid", "1/2 tsp citric acid per quart instead of lemon juice"),
    ("tomatoes-raw-no-liquid", "1/4 tsp citric acid per pint instead of lemon juice"),
    ("tomatoes-raw-no-liquid", "2 tbsp of 5 % vinegar per pint instead of lemon juice"),
    ("tomatoes-raw-no-liquid", "add 1 tsp salt per quart"),
    ("strawberry-jam-liquid", "half a teaspoon of butter against foam"),
    ("strawberry-jam-liquid", "a little less sugar"),
    ("apricots-halved", "pack in apple juice"),
]


@pytest.mark.parametrize(("slug", "text"), HARMLESS)
def test_what_is_harmless_is_still_allowed(slug, text):
    answer = check_change(recipes()[slug], text)
    assert answer.verdict is not Ruling.REFUSED, answer


# Amounts for each jar


def test_an_amount_of_acid_for_each_jar_is_compared_with_what_the_recipe_states_for_that_jar():
    found = {
        text: check_change(recipes()["tomatoes-raw-no-liquid"], text).rule
        for text in (
            "use 1 tbsp bottled lemon juice per quart",
            "use 1 tbsp bottled lemon juice per pint",
            "use 1 tbsp bottled lemon juice per jar",
            "1/4 tsp citric acid per quart instead of lemon juice",
            "add 1 tbsp bottled lemon juice per quart",
        )
    }
    assert found.pop("use 1 tbsp bottled lemon juice per pint") == "NO-CHANGE"
    assert set(found.values()) <= {"ACID-TOMATO", "ACID-LESS"}


def test_an_amount_of_acid_for_each_jar_counts_for_the_jars_of_the_pot_where_the_recipe_states_none():
    found = {
        text: check_change(recipes()["dilly-beans-usda"], text).rule
        for text in (
            "use 1/4 cup vinegar per jar",
            "use 1 cup vinegar per pint",
            "1/4 cup vinegar a quart",
            "add 1 tbsp vinegar to each jar",
        )
    }
    assert list(found.values()) == ["ACID-LESS", "ACID-MORE", "ACID-LESS", "ACID-DOUBT"]


def test_a_spice_for_each_jar_counts_for_all_the_jars():
    assert check_change(recipes()["pickled-beets"], "add 1 tsp cumin per pint").rule == "SPICE-DRY"
    assert check_change(recipes()["pickled-beets"], "add 4 tbsp cumin per pint").rule == "SPICE-BULK"


# What a verb reaches


def test_a_verb_does_not_reach_over_a_measure_a_full_stop_or_a_new_wish():
    for text in ("add cinnamon. Half the vinegar.", "add cumin and only half the vinegar", "add salt, vinegar 1 cup"):
        answer = check_change(recipes()["tomato-ketchup"], text)
        assert (answer.verdict, "never lessened" in answer.message) == (Ruling.REFUSED, True), answer
    assert check_change(recipes()["tomato-ketchup"], "add turmeric, vinegar half").rule == "ACID-LESS"


def test_a_verb_reaches_over_plain_foods():
    assert check_change(recipes()["salsa-tomato-paste"], "omit salt, sugar and cumin").verdict is Ruling.FINE


def test_a_text_of_two_lines_is_two_wishes():
    assert check_change(recipes()["chile-salsa"], "add cumin\nhalf the vinegar").rule == "ACID-LESS"


def test_a_doubt_about_acid_in_one_text_does_not_touch_another():
    checked = check_changes(recipes()["chile-salsa"], ["add cumin", "cider vinegar instead of vinegar, a pinch"])
    assert [answer.verdict for answer in checked.verdicts] == [Ruling.FINE, Ruling.REFUSED]


def test_a_strength_is_not_a_share():
    assert check_change(recipes()["chile-salsa"], "vinegar 5 %").verdict is Ruling.FINE
    for text in ("use 50 % vinegar", "only 6 % vinegar", "50 % cider vinegar instead of vinegar", "10 % vinegar"):
        assert check_change(recipes()["chile-salsa"], text).verdict is Ruling.REFUSED, text


def test_a_range_counts_by_its_lower_end():
    assert check_change(recipes()["chile-salsa"], "vinegar 1/2 to 1 cup").verdict is Ruling.REFUSED
    assert check_change(recipes()["chile-salsa"], "process 10 to 25 minutes").verdict is Ruling.REFUSED


# Reasons


def test_water_bathing_beans_is_refused_for_its_own_reason_whatever_the_recipe():
    for slug in ("snap-beans", "dilly-beans-usda", "strawberry-jam-liquid"):
        assert check_change(recipes()[slug], "I want to water bath my green beans").rule == "LOWACID-METHOD"


def test_what_is_only_half_read_is_not_answered_by_half_a_rule():
    assert check_change(recipes()["chile-salsa"], "strange water here").rule == "NOT-UNDERSTOOD"
