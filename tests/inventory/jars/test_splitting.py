"""Shares of freight, of a discount, and of a short delivery: to the cent, to the piece, whoever is named first."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.jars.billing import Ask, Party, ShortRule, SplitRule, largest_remainder, share_out, split_cents

rules = st.sampled_from(SplitRule)
short_rules = st.sampled_from(ShortRule)
totals = st.integers(-500_000, 500_000)
parties = st.lists(
    st.builds(Party, key=st.integers(1, 999), grams=st.integers(0, 40_000), cents=st.integers(0, 90_000)),
    min_size=1,
    max_size=30,
    unique_by=lambda party: party.key,
)
asks = st.lists(
    st.builds(Ask, key=st.integers(1, 999), units=st.integers(1, 60), turn=st.integers(0, 9)),
    min_size=1,
    max_size=20,
    unique_by=lambda ask: ask.key,
)


def paid(total, there, rule):
    return {key: part.cents for key, part in split_cents(total, there, rule).items()}


@given(totals, parties, rules)
def test_the_parts_are_the_whole_and_none_is_a_cent_away_from_its_exact_share(total, there, rule):
    parts = split_cents(total, there, rule)
    assert sum(part.cents for part in parts.values()) == total
    assert all(abs(part.cents - part.exact) < 1 for part in parts.values())
    assert sum(part.exact for part in parts.values()) == total


@given(totals, parties, rules, st.randoms())
def test_it_does_not_matter_in_which_order_people_are_named(total, there, rule, random):
    shuffled = there.copy()
    random.shuffle(shuffled)
    assert paid(total, shuffled, rule) == paid(total, there, rule)


@given(totals, parties)
def test_who_gets_nothing_pays_nothing_but_when_it_is_shared_evenly(total, there):
    by_value, by_weight = paid(total, there, SplitRule.VALUE), paid(total, there, SplitRule.WEIGHT)
    if any(party.cents for party in there):
        assert all(by_value[party.key] == 0 for party in there if party.cents == 0)
    if any(party.grams for party in there):
        assert all(by_weight[party.key] == 0 for party in there if party.grams == 0)
    evenly = paid(total, there, SplitRule.EVENLY).values()
    assert max(evenly) - min(evenly) <= 1


@given(st.integers(0, 500_000), parties, rules)
def test_a_discount_is_shared_as_freight_of_the_same_size_is(total, there, rule):
    assert paid(-total, there, rule) == {key: -cents for key, cents in paid(total, there, rule).items()}


@given(parties, st.integers(0, 500_000))
def test_who_gets_more_never_pays_less_of_the_freight(there, total):
    by_weight = paid(total, there, SplitRule.WEIGHT)
    for one in there:
        for other in there:
            if one.grams > other.grams:
                assert by_weight[one.key] >= by_weight[other.key]


@given(asks, st.integers(0, 1_500), short_rules)
def test_a_delivery_is_handed_out_whole_and_nobody_gets_more_than_she_asked_for(there, received, rule):
    given_out = share_out(received, there, rule)
    assert sum(given_out.values()) == min(received, sum(ask.units for ask in there))
    assert all(0 <= given_out[ask.key] <= ask.units for ask in there)


@given(asks, st.integers(0, 1_500))
def test_in_proportion_nobody_is_a_whole_piece_away_from_her_exact_share(there, received):
    asked = sum(ask.units for ask in there)
    given_out = share_out(received, there, ShortRule.PRO_RATA)
    if received < asked:
        assert all(abs(given_out[ask.key] - Fraction(received * ask.units, asked)) < 1 for ask in there)


def test_three_who_share_ten_cents_evenly_pay_four_three_and_three():
    there = [Party(key=3), Party(key=1), Party(key=2)]
    assert paid(10, there, SplitRule.EVENLY) == {1: 4, 2: 3, 3: 3}


def test_freight_by_weight_follows_the_grams():
    there = [Party(key=1, grams=6_000, cents=100), Party(key=2, grams=2_000, cents=900)]
    assert paid(1_000, there, SplitRule.WEIGHT) == {1: 750, 2: 250}
    assert paid(1_000, there, SplitRule.VALUE) == {1: 100, 2: 900}


def test_where_nothing_has_a_weight_it_is_shared_evenly_and_the_parts_say_so():
    parts = split_cents(7, [Party(key=1), Party(key=2)], SplitRule.WEIGHT)
    assert {key: (part.cents, part.rule) for key, part in parts.items()} == {
        1: (4, SplitRule.EVENLY),
        2: (3, SplitRule.EVENLY),
    }


def test_with_nobody_there_nothing_is_shared():
    assert split_cents(100, [], SplitRule.VALUE) == {}
    with pytest.raises(ValueError, match="nothing to share"):
        largest_remainder(5, {1: 0})


def test_a_short_delivery_goes_in_the_order_of_asking_or_in_proportion():
    there = [Ask(key=1, units=6, turn=2), Ask(key=2, units=3, turn=1)]
    assert share_out(5, there, ShortRule.FIRST) == {2: 3, 1: 2}
    assert share_out(5, there, ShortRule.PRO_RATA) == {1: 3, 2: 2}
