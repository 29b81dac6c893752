"""A share in sentences for every reason there is; weights in words that never say more than there is."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.fruit.models import Offer, SharingRound
from inventory.fruit.presentation import REASONS, rows_of, sentences_for
from inventory.fruit.produce import POUND, grams_typed, units_words, weight_typed, weight_words
from inventory.fruit.sharing import Why

BUSHELS = Offer(container="bushel", unit_g=25_401, units=9)
PLUMS = Offer(unit_g=1, units=12_000)


def a_round(why: Why, *, units: int, asked: int, least: int, level: int, had: int = 0) -> SharingRound:
    one = {"key": "b", "why": why, "units": units, "asked": asked, "least": least, "level": level, "had": had}
    return SharingRound(supply=8, left=0, parts={"1": one, "2": one | {"key": "a"}})


@pytest.mark.parametrize(
    ("why", "told", "said"),
    [
        (Why.ALL, {"units": 2, "asked": 2, "least": 1, "level": 3}, "You get all that you asked for: 2 bushels"),
        (Why.LEVEL, {"units": 2, "asked": 5, "least": 1, "level": 2}, "the same as everybody who wanted more"),
        (Why.EXTRA, {"units": 3, "asked": 5, "least": 1, "level": 2, "had": 900}, "so you get 3 bushels"),
        (Why.EXTRA, {"units": 3, "asked": 5, "least": 1, "level": 2, "had": 900}, "You had 900 g before"),
        (Why.LEAST, {"units": 4, "asked": 5, "least": 4, "level": 2}, "less than 4 bushels (101.6 kg) is of no use"),
        (Why.TOO_LITTLE, {"units": 0, "asked": 9, "least": 9, "level": 2}, "There was less than that."),
        (Why.NO_ROOM, {"units": 0, "asked": 9, "least": 7, "level": 2}, "So you get nothing."),
        (Why.HAD_MORE, {"units": 0, "asked": 2, "least": 1, "level": 1, "had": 5_500}, "than you: 5.5 kg"),
        (Why.LOT, {"units": 0, "asked": 2, "least": 1, "level": 1}, "lots were drawn"),
    ],
)
def test_each_reason_is_a_sentence_with_its_figures(why, told, said):
    sentences = sentences_for(a_round(why, **told), 1, BUSHELS, "metric")
    assert sentences[0].startswith("You asked for")
    assert "2 people asked, and 8 bushels (203.2 kg) was there to share." in sentences[0]
    assert said in " ".join(sentences)
    assert "%" not in " ".join(sentences)


def test_whoever_looks_at_all_shares_finds_a_word_for_each_reason():
    assert set(REASONS) == set(Why)


def test_a_claim_that_the_round_did_not_know_has_no_reason():
    assert sentences_for(a_round(Why.ALL, units=1, asked=1, least=1, level=1), 7, BUSHELS, "us") == []


def test_rows_are_in_an_order_that_does_not_tell_who_claimed_first():
    made = a_round(Why.LEVEL, units=2, asked=5, least=1, level=2)
    assert [row.claim_id for row in rows_of(made)] == [2, 1]  # by the lot


def test_amounts_are_in_the_reader_s_units_with_containers_counted():
    assert units_words(12_000, container="", unit_g=1, units="metric") == "12 kg"
    assert units_words(650, container="", unit_g=1, units="metric") == "650 g"
    assert units_words(12_000, container="", unit_g=1, units="us") == "26.4 lb"
    assert units_words(1, container="bushel", unit_g=25_401, units="us") == "1 bushel (56 lb)"
    assert units_words(0, container="bushel", unit_g=25_401, units="us") == "none"


@given(st.integers(1, 2_000_000))
def test_no_weight_in_words_is_a_gram_more_than_there_is_nor_less_by_a_step(grams):
    metric, us = weight_words(grams, "metric"), weight_words(grams, "us")
    factor = 1 if metric.endswith(" g") else 1000
    assert grams - 10 < Decimal(metric.split()[0]) * factor <= grams
    unit = POUND if us.endswith(" lb") else POUND / 16
    assert grams - unit / 10 < Decimal(us.split()[0]) * unit <= grams + 1


@given(st.integers(1, 2_000_000), st.sampled_from(["kg", "lb"]))
def test_what_a_form_shows_of_a_weight_is_read_again_to_within_half_a_hundredth(grams, unit):
    assert abs(grams_typed(weight_typed(grams, unit), unit) - grams) <= 5
