"""The columns and words that lists filter and search by."""

from __future__ import annotations

import pytest

from recipes.engine.document import recipe_from_document
from recipes.models import IndexRow, barred, facet_counts, index_of, matching, unbarred
from recipes.search import search_key
from tests.factories.recipes import SPREAD, recipe_document


@pytest.mark.parametrize(
    ("typed", "key"),
    [
        ("Jalapeño", "jalapeno"),
        ("STRAẞE", "strasse"),
        ("Crème  brûlée", "creme  brulee"),
        ("a\x00b", "a b"),
        ("ﬁg", "fig"),
    ],
)
def test_words_are_compared_without_case_and_accents(typed, key):
    assert search_key(typed) == key


@pytest.mark.parametrize("words", [[], ["plums"], ["plums", "sour cherries"]])
def test_words_between_bars_come_back(words):
    assert list(unbarred(barred(words))) == words


def test_a_bar_within_a_word_does_not_make_two():
    assert unbarred(barred(["a|b"])) == ("a/b",)


def test_a_recipe_is_indexed_by_what_its_revision_says():
    index = index_of(recipe_from_document(SPREAD))
    assert index == {
        "title": "Test spread",
        "kind": "jam",
        "method": "boiling-water",
        "produce": "|plums|",
        "jars": "|half-pint|pint|",
        "search_text": "test spread plums plums sugar lemon juice",
    }


def test_a_freezer_recipe_is_found_by_the_jar_of_its_yield():
    freezer = recipe_document(method="freezer", process=None, process_seen=None)
    assert index_of(recipe_from_document(freezer))["jars"] == "|half-pint|"


ROWS = [
    IndexRow(1, {"produce": ("plums",), "kind": ("jam",), "method": ("boiling-water",), "jar": ("pint", "quart")}),
    IndexRow(2, {"produce": ("plums", "apples"), "kind": ("jelly",), "method": ("boiling-water",), "jar": ("pint",)}),
    IndexRow(3, {"produce": ("beans",), "kind": ("vegetable",), "method": ("pressure",), "jar": ("quart",)}),
]


def test_counts_leave_their_own_facet_out_of_account():
    counts = facet_counts(ROWS, {"kind": "jam", "jar": "pint"})
    assert counts["kind"] == {"jam": 1, "jelly": 1}
    assert counts["jar"] == {"pint": 1, "quart": 1}
    assert counts["produce"] == {"plums": 1}


def test_each_count_is_what_choosing_the_word_would_leave():
    wanted = {"produce": "plums", "jar": "pint"}
    for facet, words in facet_counts(ROWS, wanted).items():
        for word, count in words.items():
            assert len(matching(ROWS, {**wanted, facet: word})) == count
