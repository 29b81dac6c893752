"""Which allergens ingredients hold, by three lists; every row has a source that was seen."""

from __future__ import annotations

import pytest

from recipes.allergens import LISTS, WORDS, allergens_of, holdings, lists


def held(*lines, by_list):
    found = allergens_of([line if isinstance(line, tuple) else (line, "") for line in lines], by_list)
    return {one.allergen: one.items for one in found.held}, {one.allergen: one.items for one in found.perhaps}


def test_every_row_has_a_source_that_was_seen_and_a_word():
    assert {row.allergen for row in holdings()} | {one for listed in lists().values() for one in listed} <= set(WORDS)
    assert all(row.source.seen.is_seen and row.source.places for row in holdings())
    assert set(lists()) == set(LISTS)


def test_the_lists_are_as_long_as_printed():
    """Pine nuts are tree nuts in two of them, crustaceans and molluscs one entry in Canada, gluten beside wheat."""
    counted = {key: len(set(listed) - {"pine nuts"}) for key, listed in lists().items()}
    assert counted == {"us": 9, "canada": 13, "eu": 14}


@pytest.mark.parametrize(
    ("by_list", "expected"),
    [
        ("us", {"milk"}),
        ("canada", {"milk", "mustard", "sulphites", "gluten"}),
        ("eu", {"milk", "mustard", "celery", "sulphites", "gluten"}),
    ],
)
def test_a_list_declares_what_it_names_and_nothing_else(by_list, expected):
    lines = ["butter", "mustard seed", "celery seed", ("lemon juice", "bottled"), "malt vinegar", "sugar"]
    assert set(held(*lines, by_list=by_list)[0]) == expected


@pytest.mark.parametrize(
    ("line", "sure", "perhaps"),
    [
        (("lemon juice", "bottled"), {"sulphites"}, set()),
        (("lemon juice", ""), set(), {"sulphites"}),
        (("lemon juice", "freshly squeezed"), set(), set()),
        (("lemon or lime juice", "bottled"), {"sulphites"}, set()),
        (("cider vinegar", "5 %"), set(), {"sulphites"}),
        (("golden raisins", ""), {"sulphites"}, set()),
        (("prepared yellow mustard", ""), {"mustard"}, set()),
        (("pickling spice", ""), set(), {"mustard", "sulphites"}),
        (("celery", "chopped"), {"celery"}, set()),
        (("apple butter", ""), set(), set()),
        (("cream of tartar", ""), set(), set()),
        (("corn flour", ""), set(), set()),
        (("eggplant", ""), set(), set()),
        (("nutmeg or cinnamon", ""), set(), set()),
        (("plums", "halved"), set(), set()),
        (("mixed nuts", "chopped"), {"tree nuts"}, {"peanuts"}),
        (("mayonnaise", ""), {"eggs"}, {"mustard"}),
        (("buttermilk", ""), {"milk"}, set()),
        (("elbow macaroni", ""), {"gluten"}, {"eggs"}),
        (("rice pasta", ""), set(), set()),
        (("spaghetti squash", ""), set(), set()),
        (("beer", ""), {"gluten", "sulphites"}, set()),
        (("dried tart cherries", ""), {"sulphites"}, set()),
        (("apples", "washed and dried"), set(), set()),
        (("soy sauce", ""), {"soy", "gluten"}, set()),
        (("Worcestershire sauce", ""), {"fish"}, {"soy", "gluten"}),
        (("fish sauce", ""), {"fish"}, {"crustaceans", "mustard"}),
        (("basil pesto", ""), set(), {"milk", "tree nuts", "mustard"}),
        (("marzipan", ""), {"tree nuts"}, {"eggs", "peanuts"}),
        (("oyster sauce", ""), {"molluscs"}, {"crustaceans"}),
        (("tahini", ""), {"sesame"}, set()),
        (("coconut milk", ""), set(), set()),
        (("water chestnuts", ""), set(), set()),
    ],
)
def test_words_of_a_line_are_read_whole(line, sure, perhaps):
    found = held(line, by_list="eu")
    assert (set(found[0]), set(found[1])) == (sure, perhaps)


def test_what_is_sure_is_not_said_to_be_perhaps_and_items_are_named_once():
    found = allergens_of([("butter", ""), ("butter", "melted"), ("walnuts", "")], "us")
    assert [str(one) for one in found.held] == ["milk (butter)", "tree nuts (walnuts)"]
    assert found.perhaps == ()
