"""The mass balance: nothing is lost or made, and it moves the way a pot moves."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.engine.document import recipe_from_document
from recipes.engine.mass_balance import (
    PUBLISHED,
    PotBalance,
    density_g_per_ml,
    end_point_brix,
    pot_balance,
    water_to_boil_off_g,
)
from recipes.engine.terms import HardBoil, Ingredient, Method, Refusal, Role, Seen, StatedYield, TestedRecipe
from tests.helpers import examples
from tests.recipes.engine.samples import SNAP_BEANS, STRAWBERRY_JAM

JAM = recipe_from_document(STRAWBERRY_JAM, where="jam")
PLAIN = replace(JAM, hard_boil=None, pectin="none", endpoint_f_above_boiling=Fraction(8))

cups = st.fractions(Fraction(1, 2), 12, max_denominator=8)


def jam(*, fruit: Fraction = Fraction(4), sugar: Fraction = Fraction(7), like: TestedRecipe = JAM) -> TestedRecipe:
    return replace(
        like,
        ingredients=(
            Ingredient("strawberries", "crushed", Role.FRUIT, fruit, "cup"),
            Ingredient("sugar", "", Role.SUGAR, sugar, "cup"),
            Ingredient("pectin", "liquid", Role.PECTIN, Fraction(1), "pouch"),
        ),
    )


def balance(recipe: TestedRecipe, **more: object) -> PotBalance:
    found = pot_balance(recipe, **more)
    assert isinstance(found, PotBalance), found
    return found


def test_a_pot_of_jam_by_hand():
    """4 x 232 + 7 x 200 + 90 = 2418 g; solids 74 + 1400 + 4; 3 % of all but the pectin boils off, 2 % stays behind."""
    pot = balance(jam())
    assert pot.mass_in_g.best == pytest.approx(2418)
    assert pot.brix_in.best == pytest.approx(100 * (0.08 * 928 + 0.9998 * 1400 + 0.04 * 90) / 2418)
    assert pot.boiled_off_g.best == pytest.approx(0.03 * (928 + 1400))
    assert pot.left_behind_g.best == pytest.approx(0.02 * (2418 - 0.03 * 2328))
    assert pot.volume_filling_ml.best == pytest.approx(pot.product_g.best / density_g_per_ml(pot.brix.best, 90))
    assert pot.volume_room_ml.best == pytest.approx(pot.product_g.best / density_g_per_ml(pot.brix.best))
    assert pot.jars.best == pytest.approx(pot.volume_filling_ml.best / 236.5882365)


@given(cups, cups)
def test_mass_is_conserved(fruit: Fraction, sugar: Fraction):
    for recipe in (jam(fruit=fruit, sugar=sugar), jam(fruit=fruit, sugar=sugar, like=PLAIN)):
        found = pot_balance(recipe)
        if isinstance(found, Refusal):  # nearly all sugar: beyond the tables
            assert sugar > fruit
            continue
        out = found.boiled_off_g.best + found.left_behind_g.best + found.product_g.best
        assert out == pytest.approx(found.mass_in_g.best)
        solids_in = found.mass_in_g.best * found.brix_in.best
        assert (found.product_g.best + found.left_behind_g.best) * found.brix.best == pytest.approx(solids_in)


@given(st.fractions(2, 6, max_denominator=8), st.tuples(cups, cups))
def test_more_sugar_is_never_fewer_brix(fruit: Fraction, two: tuple[Fraction, Fraction]):
    less, more = (pot_balance(jam(fruit=fruit, sugar=sugar)) for sugar in sorted(two))
    if isinstance(less, PotBalance) and isinstance(more, PotBalance):
        assert less.brix.best <= more.brix.best + 1e-9
        assert less.volume_room_ml.best <= more.volume_room_ml.best + 1e-9
    else:
        assert isinstance(more, Refusal)  # the sweeter pot is the one that may be beyond the tables


@given(st.floats(100, 5000), st.floats(0, 1), st.tuples(st.floats(1, 100), st.floats(1, 100)))
def test_a_thicker_end_point_boils_off_more(mass: float, share: float, two: tuple[float, float]):
    thin, thick = sorted(two)
    off = water_to_boil_off_g(mass, share * mass, thin)
    assert 0 <= off <= water_to_boil_off_g(mass, share * mass, thick) <= mass


def test_what_is_as_thick_already_loses_no_water():
    assert water_to_boil_off_g(1000, 700, 65) == 0
    assert water_to_boil_off_g(1000, 325, 65) == pytest.approx(500)
    with pytest.raises(ValueError, match="end point"):
        water_to_boil_off_g(1000, 325, 0)


@given(st.fractions(Fraction(1, 4), 8, max_denominator=4))
@examples(40)
def test_a_scaled_pot_scales_in_everything_that_is_an_amount(scale: Fraction):
    for recipe in (jam(), jam(like=PLAIN)):
        one, many = balance(recipe), balance(recipe, scale=scale)
        assert many.volume_filling_ml.low == pytest.approx(float(scale) * one.volume_filling_ml.low)
        assert many.volume_filling_ml.high == pytest.approx(float(scale) * one.volume_filling_ml.high)
        assert many.boiled_off_g.best == pytest.approx(float(scale) * one.boiled_off_g.best)
        assert many.brix.best == pytest.approx(one.brix.best)


def test_a_pot_without_pectin_ends_at_its_end_point():
    pot = balance(jam(fruit=Fraction(4), sugar=Fraction(4), like=PLAIN))
    assert pot.brix.best == pytest.approx(end_point_brix(Fraction(8)).best)
    assert pot.boiled_off_g.best == pytest.approx(
        water_to_boil_off_g(pot.mass_in_g.best, pot.mass_in_g.best * pot.brix_in.best / 100, pot.brix.best)
    )
    assert pot.brix.low < 63.5
    assert pot.brix.high > 66.5


def test_higher_up_the_same_rise_means_a_slightly_thicker_pot():
    low, high = balance(jam(like=PLAIN)), balance(jam(like=PLAIN), boiling_water_c=93.0)
    assert low.brix.best < high.brix.best < low.brix.best + 1


def test_a_freezer_spread_is_not_boiled_and_is_filled_cold():
    cold = balance(replace(jam(), method=Method.FREEZER, hard_boil=None))
    hot = balance(jam())
    assert cold.filling_c == 20
    assert cold.volume_filling_ml == cold.volume_room_ml
    assert cold.boiled_off_g.best < 0.1 * hot.boiled_off_g.best
    assert cold.brix.best < hot.brix.best


def test_frozen_concentrate_stirred_in_off_the_heat_loses_nothing():
    concentrate = Ingredient("grape juice concentrate", "frozen", Role.FRUIT, Fraction(2), "cup")
    off_the_heat = replace(jam(), ingredients=(*jam().ingredients, concentrate))
    boiled_too = replace(off_the_heat, hard_boil=HardBoil(Fraction(1), "pectin", "when at full boil"))
    without = balance(jam())
    assert balance(off_the_heat).boiled_off_g.best == pytest.approx(without.boiled_off_g.best)
    assert balance(boiled_too).boiled_off_g.best > 1.2 * without.boiled_off_g.best


def test_a_recipe_with_no_printed_end_has_no_predicted_yield():
    for recipe in (recipe_from_document(SNAP_BEANS, where="beans"), replace(jam(), hard_boil=None)):
        found = pot_balance(recipe)
        assert isinstance(found, Refusal)
        assert found.code == "yield-no-end-point"


def test_a_line_without_a_weight_refuses_the_whole_pot_and_is_named():
    lost = Ingredient("medlars", "sliced", Role.FRUIT, Fraction(1), "cup")
    found = pot_balance(replace(jam(), ingredients=(*jam().ingredients, lost)))
    assert isinstance(found, Refusal)
    assert "medlars" in found.message


def test_a_pot_of_almost_only_sugar_is_beyond_the_tables():
    found = pot_balance(jam(fruit=Fraction(1, 2), sugar=Fraction(12)))
    assert isinstance(found, Refusal)
    assert found.code == "yield-beyond-tables"


def test_an_estimated_line_widens_the_interval_and_is_named():
    known = balance(jam())
    fruit = replace(jam().ingredients[0], item="medlars")
    guessed = balance(replace(jam(), ingredients=(fruit, *jam().ingredients[1:])))
    assert guessed.jars.half_width / guessed.jars.best > known.jars.half_width / known.jars.best
    assert any("medlars" in estimate for estimate in guessed.estimates)
    assert not any("strawberries" in estimate for estimate in known.estimates)


def test_what_was_assumed_is_said_with_its_lack_of_a_source():
    pot = balance(jam())
    assert len(pot.assumptions) == 4
    assert all("no source" in str(said) for said in pot.assumptions)
    assert "90 C" in str(pot.assumptions[0])


def test_other_foods_may_be_passed_in():
    heavier = replace(PUBLISHED, grams_per_cup={key: figure._replace(span=figure.span.times(2))
                                                for key, figure in PUBLISHED.grams_per_cup.items()})  # fmt: skip
    assert balance(jam(), foods=heavier).mass_in_g.best == pytest.approx(2 * 2328 + 90)


def test_whole_jars_are_the_ends_to_the_nearest():
    pot = balance(replace(jam(), stated_yield=StatedYield("half-pint", Fraction(8), Fraction(8), Seen.TWICE)))
    assert pot.whole_jars == (7, 8)
    assert 7 <= pot.jars.low < 7.5 < pot.jars.high < 8.5


def test_a_pot_needs_a_scale():
    with pytest.raises(ValueError, match="scale"):
        pot_balance(jam(), scale=Fraction(0))
