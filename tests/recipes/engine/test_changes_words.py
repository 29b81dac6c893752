"""The vocabulary: large, without contradictions, and never read more kindly than it is."""

from __future__ import annotations

import pytest

from recipes.engine.changes.foods import LOW_ACID, Kind, foods, read_phrase
from recipes.engine.changes.normalise import lemmas
from recipes.engine.changes.read import read
from recipes.engine.changes.vocabulary import rows


def words_of(kind: Kind) -> list[str]:
    return [row["name"] for row in rows("foods") if row["kind"] == kind.value]


def test_it_knows_more_than_a_thousand_phrases():
    assert len(foods()) > 1000


def test_no_phrase_is_two_things():
    seen: dict[tuple[str, ...], str] = {}
    for row in rows("foods"):
        key = lemmas(row["name"])
        assert key, row
        assert seen.setdefault(key, row["kind"]) == row["kind"], row


@pytest.mark.parametrize(
    ("phrase", "kind"),
    [
        ("tomatoes", Kind.TOMATO),
        ("finely chopped yellow onions", Kind.ALLIUM),
        ("chiles", Kind.PEPPER),
        ("Jalapeños", Kind.PEPPER),
        ("red pepper flakes", Kind.SPICE),
        ("peppers", Kind.PEPPER),
        ("ground black pepper", Kind.SPICE),
        ("ground bell peppers", Kind.PEPPER),
        ("celery seeds", Kind.SPICE),
        ("mustard greens", Kind.VEGETABLE),
        ("wax beans", Kind.LEGUME),
        ("butter beans", Kind.LEGUME),
        ("peanut butter", Kind.NUT),
        ("coconut milk", Kind.DAIRY),
        ("half-and-half", Kind.DAIRY),
        ("sweet potatoes", Kind.VEGETABLE),
        ("mashed potatoes", Kind.PUREE),
        ("pureed pumpkin", Kind.PUREE),
        ("dried basil leaves", Kind.SPICE),
        ("basil leaves", Kind.HERB),
        ("fresh ginger", Kind.FRESH_ROOT),
        ("dried ginger", Kind.SPICE),
        ("white-fleshed peaches", Kind.LOW_FRUIT),
        ("cherries", Kind.FRUIT),
        ("dried cherries", Kind.DRIED_FRUIT),
        ("garlic in olive oil", Kind.ALLIUM),
        ("icing sugar", Kind.OTHER_SWEET),
        ("bicarbonate of soda", Kind.ALKALI),
        ("cornflour", Kind.STARCH),
    ],
)
def test_a_phrase_is_the_food_it_names(phrase, kind):
    assert kind in read_phrase(phrase).kinds


def test_a_phrase_with_an_unknown_word_is_not_known():
    found = read_phrase("onions from mars")
    assert (found.is_known, "mar" in found.unknown) == (False, True)


def test_low_acid_words_of_every_class_are_low_acid():
    for kind in LOW_ACID:
        for word in words_of(kind):
            assert read_phrase(word).kinds & LOW_ACID, word


def test_amounts_are_taken_out_wherever_they_stand():
    for text in ("onions 1 1/2 cups", "1 1/2 cups onions", "1½ cups of onions"):
        ((change,),) = read(text)
        assert (change.item, str(change.amount.value), change.amount.unit) == ("onion", "3/2", "cup")
    ((change,),) = read("1 tsp cloves")
    assert (change.item, change.amount.unit) == ("clove", "tsp")


def test_every_class_of_food_names_what_it_rests_on():
    told = {row["kind"]: row for row in rows("kinds")}
    assert set(told) == {row["kind"] for row in rows("foods")}
    for row in told.values():
        assert len(row["source"]) > 10
        assert row["seen"] in ("seen-twice", "seen-once", "none")
        assert (row["seen"] == "none") == ("no source" in row["source"])
