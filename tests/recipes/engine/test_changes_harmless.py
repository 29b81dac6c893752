"""Wishes that do no harm, as people say them: nearly all are allowed, and none is refused for an untrue reason.

The rows marked "aside" were not looked at while the reader was written; those marked "used" were each a list of wishes
for it to fail on before it was mended. Those marked "talk" tell of family, garden and taste besides. Those marked
"chatty" are such talk that is read by now: none of it may be lost again. Those marked "letter" are such talk as it
comes, of which more than half is not read yet: the bound is how far the reader is.
"""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

import pytest

from recipes.engine.changes import Ruling, Verdict, allowed_by, check_change
from tests.published.library import recipes

with (Path(__file__).parent / "harmless_wishes.csv").open(newline="", encoding="utf-8") as file:
    WISHES = list(csv.DictReader(file))
MOST_REFUSED = {"": 0.05, "aside": 0.05, "used": 0.05, "talk": 0.22, "chatty": 0, "letter": 0.63}
# What is refused although it would do no harm may only be told that it was not understood or that no rule is known.
HONEST = {"NOT-UNDERSTOOD", "NOT-COVERED", "SAY-WHICH"}


@cache
def answers() -> list[Verdict]:
    return [check_change(recipes()[row["recipe"]], row["text"]) for row in WISHES]


def refused(group: str) -> list[Verdict]:
    found = zip(WISHES, answers(), strict=True)
    return [answer for row, answer in found if row["aside"] == group and answer.verdict is Ruling.REFUSED]


@pytest.mark.parametrize("group", MOST_REFUSED)
def test_nearly_every_harmless_wish_is_allowed(group):
    asked = [row for row in WISHES if row["aside"] == group]
    assert len(asked) >= 70
    assert len(refused(group)) <= MOST_REFUSED[group] * len(asked), refused(group)


@pytest.mark.parametrize("group", MOST_REFUSED)
def test_no_harmless_wish_is_refused_for_an_untrue_reason(group):
    assert [answer for answer in refused(group) if answer.rule not in HONEST] == []


def test_every_wish_that_is_allowed_is_read_back_in_words():
    for answer in answers():
        assert answer.reading or answer.verdict is Ruling.REFUSED, answer


@pytest.mark.parametrize(
    ("slug", "text", "reading"),
    [
        (
            "tomato-juice",
            "use 1 tbsp bottled lemon juice per quart",
            "bottled lemon juice, 1 tbsp a quart in place of 2 tbsp",
        ),
        ("chile-salsa", "cider vinegar instead of vinegar", "cider vinegar in place of vinegar"),
        ("chile-salsa", "less salt and half the onions", "less salt; onion, 1/2 of the recipe's amount"),
        ("chile-salsa", "half-pint jars please", "half pint jars"),
    ],
)
def test_a_reading_says_in_plain_words_what_was_read(slug, text, reading):
    assert check_change(recipes()[slug], text).reading == reading


@pytest.mark.parametrize("text", ["flumox the gribble", "make the vinegar shine", "onions sideways"])
def test_what_was_not_understood_says_so_and_offers_three_wishes_that_can_be_read(text):
    recipe = recipes()["chile-salsa"]
    answer = check_change(recipe, text)
    assert (answer.rule, answer.reading, len(answer.nearest)) == ("NOT-UNDERSTOOD", "", 3)
    assert "instructor" in answer.message
    for wish in answer.nearest:
        assert check_change(recipe, wish).rule != "NOT-UNDERSTOOD"


def test_lime_juice_that_is_not_said_to_be_bottled_is_told_that_and_nothing_else():
    answer = check_change(recipes()["tomatoes-raw-no-liquid"], "lime juice instead of lemon juice")
    assert (answer.verdict, answer.rule) == (Ruling.REFUSED, "ACID-NOT-BOTTLED")


@pytest.mark.parametrize(
    ("slug", "text", "reading"),
    [
        ("chile-salsa", "1 tsp each of allspice and cumin", "allspice, 1 tsp; cumin, 1 tsp"),
        ("applesauce", "cinnamon and nutmeg, 1 tsp each", "cinnamon, 1 tsp; nutmeg, 1 tsp"),
        (
            "cranberry-orange-chutney",
            "ground ginger (1 tsp) instead of fresh",
            "ground ginger, 1 tsp in place of fresh",
        ),
        ("apple-marmalade-plain", "add ginger", "ground ginger, added"),
        ("dilly-beans-usda", "cayenne pepper instead of the flakes", "cayenne in place of flake"),
        (
            "tomato-juice",
            "no lemon juice but citric acid, 1/2 tsp a quart",
            "citric acid, 1/2 tsp a quart in place of 2 tbsp lemon juice",
        ),
        ("apple-butter", "can I do this in the slow cooker", "cooking it down in a slow cooker"),
    ],
)
def test_a_measure_stands_for_each_and_what_is_bare_is_read_back_in_full(slug, text, reading):
    answer = check_change(recipes()[slug], text)
    assert answer.verdict is not Ruling.REFUSED, answer
    assert answer.reading == reading


@pytest.mark.parametrize(
    ("slug", "text", "is_allowed"),
    [
        ("strawberry-jam-liquid", "honey for all the sugar", False),
        ("strawberry-jam-liquid", "all honey", False),
        ("strawberry-jam-liquid", "2 cups honey for 2 cups of the sugar", True),
        ("strawberry-jam-liquid", "3 cups honey for 3 cups of the sugar", False),
        ("strawberry-jam-liquid", "replace half the sugar with honey", False),
        ("berry-jam-plain", "replace half the sugar with honey", True),
        ("berry-jam-plain", "replace two thirds of the sugar with honey", False),
        ("apricots-halved", "honey for all the sugar", True),
    ],
)
def test_honey_takes_only_that_part_of_the_sugar_of_a_spread_that_is_published(slug, text, is_allowed):
    answer = check_change(recipes()[slug], text)
    assert (answer.verdict is not Ruling.REFUSED) is is_allowed, answer
    assert is_allowed or answer.rule == "HONEY-MOST"


def test_a_slow_cooker_cooks_a_fruit_butter_and_never_processes_a_jar():
    butter = recipes()["apple-butter"]
    assert check_change(butter, "cook it in the slow cooker overnight").rule == "SLOW-COOKER-BUTTER"
    for text in (
        "can it in the slow cooker",
        "process the jars in the slow cooker",
        "slow cooker instead of processing",
    ):
        assert check_change(butter, text).verdict is Ruling.REFUSED, text
    assert check_change(recipes()["tomato-juice"], "cook it in the slow cooker").verdict is Ruling.REFUSED


# Reasons, slips of the pen, and what is done when the jar is opened


@pytest.mark.parametrize(
    ("slug", "text", "reading"),
    [
        ("bread-and-butter-pickles", "leave the turmeric out, it stains everything", "turmeric left out"),
        ("tomato-ketchup", "less cayenne because of the kids", "less cayenne"),
        ("cranberry-orange-chutney", "4 oz jars for Christmas presents", "quarter pint jars"),
        ("strawberry-jam-liquid", "rasberries instead of strawberrys", "raspberry in place of strawberry"),
        ("applesauce", "honeycrisp", "honeycrisp apple"),
        ("chile-salsa", "cider vinegar, it is 5 %", "5 % cider vinegar"),
        ("corn-whole-kernel", "raw pack pints", "raw pack; pint jars"),
    ],
)
def test_a_reason_is_passed_over_and_a_slip_is_said_back_put_right(slug, text, reading):
    answer = check_change(recipes()[slug], text)
    assert answer.verdict is not Ruling.REFUSED, answer
    assert answer.reading == reading


@pytest.mark.parametrize(
    "text",
    [
        "bottled lemon juice, we do not like it",
        "bottled lemon juice so we like it",
        "as much bottled lemon juice as you like",
        "bottled lemon juice, my son is allergic",
        "bottled lemon juice, I do not have it",
    ],
)
def test_what_may_be_the_wish_itself_is_no_reason(text):
    assert check_change(recipes()["tomatoes-raw-no-liquid"], text).verdict is Ruling.REFUSED


def test_a_known_word_is_never_taken_for_a_slip_of_another():
    for word in ("clover", "walnuts", "chives", "sorrel", "celeriac"):
        assert check_change(recipes()["chile-salsa"], f"add {word}").verdict is Ruling.REFUSED, word


def test_acid_that_waits_for_the_opened_jar_comes_too_late():
    for text in ("add the vinegar when serving", "stir the vinegar in at the table", "use the vinegar later"):
        assert check_change(recipes()["dilly-beans-usda"], text).rule == "ACID-LATER", text
    assert check_change(recipes()["chile-salsa"], "add fresh cilantro when serving").rule == "THICKEN-LATER"


@pytest.mark.parametrize(
    "text", ["use jalapenos as well", "also use jalapenos", "use jalapenos, too", "use jalapenos with it"]
)
def test_what_comes_beside_is_not_in_place_of_anything(text):
    assert check_change(recipes()["chile-salsa"], "use jalapenos").verdict is Ruling.FINE
    assert check_change(recipes()["chile-salsa"], text).verdict is Ruling.REFUSED


def test_a_tool_has_to_serve_the_printed_preparation():
    assert check_change(recipes()["tomato-juice"], "press them through a sieve").rule == "TOOLS-SIEVE"
    assert check_change(recipes()["chile-salsa"], "press them through a sieve").rule == "PREP-CHANGED"


def test_a_freezer_recipe_is_not_stored_in_a_cupboard():
    text = "store the jars in a cool dark cupboard"
    assert check_change(recipes()["strawberry-jam-liquid"], text).rule == "STORE-COOL"
    assert check_change(recipes()["freezer-strawberry-jam-powdered"], text).verdict is Ruling.REFUSED


def test_what_no_publication_allows_is_refused():
    for slug, text, rule in (
        ("tomatoes-raw-no-liquid", "tomatillos instead of tomatoes", "TOMATILLO-ALONE"),
        ("chile-salsa", "dried jalapenos instead of chile peppers", "SPICE-BULK"),
        ("pickled-beets", "honey instead of sugar", "HONEY-PICKLE"),
    ):
        assert check_change(recipes()[slug], text).rule == rule, text


# What a recipe itself allows


def test_what_a_recipe_allows_is_read_from_the_same_list_that_its_page_shows():
    for slug, old, new in (
        ("bread-and-butter-pickles", "cucumbers", "zucchini"),
        ("peach-pineapple-spread", "peaches", "plums"),
        ("tomato-juice", "lemon juice", "citric acid"),
    ):
        entries = [entry for entry in allowed_by(recipes()[slug]) if old.rstrip("es") in entry.old]
        assert entries
        assert check_change(recipes()[slug], f"{new} instead of {old}").verdict is Ruling.FINE
    assert allowed_by(recipes()["snap-beans"]) == ()
    assert check_change(recipes()["pickle-relish"], "zucchini instead of cucumbers").verdict is Ruling.REFUSED


def test_every_allowance_names_its_source_and_how_far_it_was_seen():
    for recipe in recipes().values():
        for entry in allowed_by(recipe):
            assert len(entry.source) > 20
            assert entry.seen.startswith("seen-")
