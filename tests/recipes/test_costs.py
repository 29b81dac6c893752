"""Costs are whole cents that sum to the whole, and what has no price is named and never guessed."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from recipes.engine.quantities import Amount, parse_amount
from recipes.engine.terms import JarCount
from recipes.shopping import Purchase, cost_of, split_cents

F = Fraction
JARS = (JarCount("pint", 1), JarCount("half-pint", 3))


@dataclass(frozen=True)
class Noted:
    amount: Amount
    cents: int


def prices(**noted):
    return {item.replace("_", " "): Noted(parse_amount(package), cents) for item, (package, cents) in noted.items()}


SUGAR = Purchase("sugar", "1.4 kg", grams=F(1400))
PECTIN = Purchase("liquid pectin", "1 pouch", pieces=F(1), unit="pouch")
VINEGAR = Purchase("vinegar", "500 ml", grams=F(505), ml=F(500))
LIDS = Purchase("lids", "4", pieces=F(4), unit="each")
BANDS = Purchase("bands", "4", pieces=F(4), unit="each")


def test_what_is_used_counts_by_its_share_of_the_package():
    found = cost_of(
        [SUGAR, PECTIN, LIDS],
        prices(sugar=("2 kg", 300), liquid_pectin=("2 pouches", 700), lids=("12 each", 499)),
        JARS,
    )
    assert found.parts == (("sugar", 210), ("liquid pectin", 350), ("lids", 166))
    assert (found.total_cents, found.unknown) == (726, ())


def test_a_price_by_volume_serves_what_is_known_by_volume():
    assert cost_of([VINEGAR], prices(vinegar=("1 l", 250)), JARS).total_cents == 125
    assert cost_of([VINEGAR], prices(vinegar=("1 kg", 200)), JARS).total_cents == 101


def test_what_has_no_price_or_one_that_cannot_be_compared_is_unknown():
    found = cost_of([SUGAR, PECTIN, VINEGAR], prices(sugar=("2 kg", 300), liquid_pectin=("3 oz", 300)), JARS)
    assert found.unknown == ("liquid pectin", "vinegar")
    assert found.total_cents == 210


def test_bands_are_used_again_and_cost_nothing():
    found = cost_of([BANDS], prices(bands=("12 each", 600)), JARS)
    assert (found.parts, found.unknown) == ((), ())


def test_without_any_price_no_jar_has_a_cost():
    assert cost_of([SUGAR], {}, JARS).jars == ()


def test_a_jar_costs_by_what_it_holds_and_equal_jars_differ_by_a_cent_at_most():
    found = cost_of([SUGAR], prices(sugar=("1400 g", 1002)), JARS)
    pint, half_pint = found.jars
    assert (pint.low_cents, pint.high_cents) == (401, 401)  # exactly 400.8
    assert (half_pint.low_cents, half_pint.high_cents) == (200, 201)  # exactly 200.4, and one cent is left


@given(
    st.integers(0, 100_000),
    st.lists(st.fractions(min_value=0, max_value=100, max_denominator=50), min_size=1, max_size=30),
)
def test_a_split_always_sums_to_the_whole_and_no_part_is_a_cent_off(total, shares):
    parts = split_cents(total, shares)
    assert sum(parts) == total
    if whole := sum(shares):
        for part, share in zip(parts, shares, strict=True):
            assert abs(part - total * share / whole) < 1


def test_equal_remainders_go_to_the_first():
    assert split_cents(10, [F(1), F(1), F(1)]) == [4, 3, 3]
    assert split_cents(5, []) == []
