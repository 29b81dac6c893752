"""The mass balance against what published recipes say they fill."""

from __future__ import annotations

from fractions import Fraction

from recipes.engine import Span
from recipes.engine.mass_balance import PotBalance, YieldRow, cups_between, pot_balance, yield_rows
from recipes.engine.quantities import US_CUP_ML
from recipes.engine.terms import (
    HardBoil,
    Ingredient,
    Method,
    Role,
    Seen,
    StatedYield,
    TestedRecipe,
    TestedSource,
)
from tests.published.library import recipes

NO_SOURCE = TestedSource("common practice, no source", "", "")


def pectin_spreads() -> list[YieldRow]:
    spreads = [recipe for recipe in recipes().values() if recipe.pectin in ("powdered", "liquid")]
    return [row for row in yield_rows(spreads) if not row.is_suspect]


def test_every_spread_with_added_pectin_has_a_prediction():
    assert [row.slug for row in pectin_spreads() if row.predicted is None] == []


def test_at_least_twenty_stated_yields_lie_within_the_interval_in_whole_jars():
    within = [row.slug for row in pectin_spreads() if row.is_within]
    assert len(within) >= 20, sorted(within)


def test_nine_in_ten_stated_yields_lie_within_one_jar_of_it():
    rows = pectin_spreads()
    far = [row.slug for row in rows if row.off_by is None or abs(row.off_by) > 1]
    assert len(far) <= len(rows) / 10, far


def test_the_interval_is_narrow_enough_to_say_something():
    shares = [row.predicted.half_width / row.predicted.best for row in pectin_spreads() if row.predicted]
    print(f"half-width in 8 jars: {8 * sum(shares) / len(shares):.2f} on average, {8 * max(shares):.2f} at most")
    assert sum(shares) / len(shares) < 1 / 8
    assert max(shares) < 1 / 6
    assert min(shares) > 0.02  # no kitchen measures better than that


def test_the_check_would_notice_a_yield_that_is_two_jars_out():
    """The other way round: were each source to print two jars more or fewer, hardly any would pass."""
    passing = 0
    rows = pectin_spreads()
    for row in rows:
        low, high = row.whole_jars or (0, 0)
        passing += any(row.stated.low + out <= high and row.stated.high + out >= low for out in (-2, 2))
    assert passing <= len(rows) / 5


def test_the_two_suspect_yields_are_shown_and_far_off():
    suspect = [row for row in yield_rows(recipes().values()) if row.is_suspect]
    assert {row.slug for row in suspect} == {"grape-jelly-plain", "plum-jelly-plain"}
    assert all(row.off_by is not None and row.off_by > 2 for row in suspect)


def test_spreads_boiled_to_an_end_point_lie_within_one_jar_too():
    rows = [
        row for row in yield_rows(recipes().values()) if row.pectin == "none" and row.predicted and not row.is_suspect
    ]
    assert len(rows) >= 6
    assert [row.slug for row in rows if abs(row.off_by or 0) > 1] == []


def test_four_cups_of_chopped_sweet_fruit_make_eight_jars_and_a_little_over():
    """Common practice, no source: 7 cups of sugar, 1/4 cup of bottled lemon juice, two pouches of liquid pectin."""
    pot = pot_balance(_sweet_fruit_jam())
    assert isinstance(pot, PotBalance)
    assert 8 * float(US_CUP_ML) < pot.volume_filling_ml.best < 8.5 * float(US_CUP_ML)
    assert pot.whole_jars[0] <= 8 <= pot.whole_jars[1]


def test_two_and_a_half_quarts_of_frozen_pitted_fruit_give_at_least_four_cups_chopped():
    """Common practice, no source. Even when a quarter of the weight runs off as juice in thawing and is poured away."""
    for quarts in (2.5, 3):
        chopped = cups_between(4 * quarts, "sweet cherry", "pitted", "finely chopped")
        assert isinstance(chopped, Span)
        assert 0.75 * chopped.low >= 4


def _sweet_fruit_jam() -> TestedRecipe:
    def line(item: str, prep: str, role: Role, amount: str, unit: str) -> Ingredient:
        return Ingredient(item, prep, role, Fraction(amount), unit)

    return TestedRecipe(
        slug="sweet-fruit-jam",
        title="Sweet fruit jam",
        kind="jam",
        method=Method.BOILING_WATER,
        produce=("sweet cherries",),
        pectin="liquid",
        ingredients=(
            line("sweet cherries", "pitted, finely chopped", Role.FRUIT, "4", "cup"),
            line("sugar", "granulated", Role.SUGAR, "7", "cup"),
            line("lemon juice", "bottled", Role.ACID, "1/4", "cup"),
            line("pectin", "liquid", Role.PECTIN, "2", "pouch"),
        ),
        stated_yield=StatedYield("half-pint", Fraction(8), Fraction(8), Seen.MEMORY),
        headspace_in=Fraction(1, 4),
        process=(),
        steps=(),
        source=NO_SOURCE,
        amounts_seen=Seen.MEMORY,
        process_seen=None,
        hard_boil=HardBoil(Fraction(1), "sugar", "after the boil, off the heat"),
    )
