"""The vocabulary: large, without contradictions, and never read more kindly than it is."""

from __future__ import annotations

import pytest

from recipes.engine.change_foods import read_phrase, vocabulary
from recipes.engine.change_kinds import LOW_ACID, Kind
from recipes.engine.change_text import plain, take_amount, tokens
from recipes.engine.change_words_pantry import PANTRY
from recipes.engine.change_words_plants import PLANTS


def words_of(kind: Kind) -> list[str]:
    return [" ".join(word.split()) for known, words in (*PLANTS, *PANTRY) if known is kind for word in words.split(",")]


def test_it_knows_more_than_a_thousand_phrases():
    assert len(vocabulary()) > 1000


def test_no_phrase_is_two_things():
    seen: dict[tuple[str, ...], Kind] = {}
    for kind, words in (*PLANTS, *PANTRY):
        for phrase in words.split(","):
            key = tuple(tokens(phrase))
            assert key, kind
            assert seen.setdefault(key, kind) is kind, phrase


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
    assert kind in read_phrase(plain(phrase)).kinds


def test_a_phrase_with_an_unknown_word_is_not_known():
    found = read_phrase("onions from mars")
    assert (found.is_known, "mar" in found.unknown) == (False, True)


def test_low_acid_words_of_every_class_are_low_acid():
    for kind in LOW_ACID:
        for word in words_of(kind):
            assert read_phrase(plain(word)).kinds & LOW_ACID, word


def test_amounts_are_taken_out_wherever_they_stand():
    for text in ("onions 1 1/2 cups", "1 1/2 cups onions", "1½ cups of onions"):
        item, amount = take_amount(plain(text))
        assert (item, str(amount.value), amount.unit) == ("onions", "3/2", "cup")
    assert take_amount("1 tsp cloves") == ("cloves", take_amount("1 tsp x")[1])
