"""Wishes that do no harm, as people say them: nearly all are allowed, and none is refused for an untrue reason.

The rows marked "aside" were not looked at while the reader was written.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from recipes.engine.changes import Ruling, Verdict, allowed_by, check_change
from tests.published.library import recipes

with (Path(__file__).parent / "harmless_wishes.csv").open(newline="", encoding="utf-8") as file:
    WISHES = list(csv.DictReader(file))
MOST_REFUSED = 0.05
# What is refused although it would do no harm may only be told that it was not understood or that no rule is known.
HONEST = {"NOT-UNDERSTOOD", "NOT-COVERED", "SAY-WHICH"}


def refused(group: str) -> list[Verdict]:
    answers = [check_change(recipes()[row["recipe"]], row["text"]) for row in WISHES if row["aside"] == group]
    return [answer for answer in answers if answer.verdict is Ruling.REFUSED]


@pytest.mark.parametrize("group", ["", "aside"])
def test_nearly_every_harmless_wish_is_allowed(group):
    asked = [row for row in WISHES if row["aside"] == group]
    assert len(asked) >= 70
    assert len(refused(group)) <= MOST_REFUSED * len(asked), refused(group)


@pytest.mark.parametrize("group", ["", "aside"])
def test_no_harmless_wish_is_refused_for_an_untrue_reason(group):
    assert [answer for answer in refused(group) if answer.rule not in HONEST] == []


def test_every_wish_that_is_allowed_is_read_back_in_words():
    for row in WISHES:
        answer = check_change(recipes()[row["recipe"]], row["text"])
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
