"""Weights of recipe lines: found, estimated and said to be, or refused by name."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.engine.mass_balance import PUBLISHED, Span, WeighedLine, cups_between, form_of, weigh_line, words_of
from recipes.engine.terms import Ingredient, Refusal, Role


def line(item: str, prep: str = "", role: Role = Role.FRUIT, amount: object = 1, unit: str = "cup", **more: object):
    return Ingredient(item, prep, role, Fraction(str(amount)), unit, **more)


def weighed(*args: object, **more: object) -> WeighedLine:
    found = weigh_line(line(*args, **more))
    assert isinstance(found, WeighedLine), found
    return found


@pytest.mark.parametrize(
    ("item", "prep", "role", "grams"),
    [
        ("sugar", "granulated", Role.SUGAR, 200),
        ("brown sugar", "packed", Role.SUGAR, 220),
        ("strawberries", "crushed", Role.FRUIT, 232),
        ("strawberries", "whole, capped", Role.FRUIT, 144),
        ("sour cherries", "pitted, ground or finely chopped", Role.FRUIT, 230),
        ("cherries, sweet", "pitted", Role.FRUIT, 154),
        ("Concord grape juice", "strained", Role.FRUIT, 253),
        ("lemon juice", "bottled", Role.ACID, 244),
        ("apple cider vinegar", "5 percent", Role.ACID, 239),
        ("water", "cold", Role.LIQUID, 237),
        ("bell peppers, green", "chopped", Role.LOW_ACID, 149),
        ("orange peel", "grated", Role.FRUIT, 96),
    ],
)
def test_a_published_cup_is_found_whatever_way_the_line_says_it(item: str, prep: str, role: Role, grams: float):
    assert weighed(item, prep, role).grams.best == pytest.approx(grams)


def test_a_line_that_names_two_foods_lies_between_them():
    both = weighed("blackberries or strawberries", "crushed")
    assert both.grams.best == pytest.approx((245 + 232) / 2)
    assert both.brix.low <= 8.0
    assert both.brix.high >= 10.0


def test_the_weight_on_the_line_comes_first():
    assert weighed("strawberries", "crushed", grams=Fraction(500), grams_source="weighed").grams.best == 500


def test_a_mass_is_a_mass():
    assert weighed("cranberries", "", amount=1, unit="lb").grams.best == pytest.approx(453.59237)


def test_boxes_and_pouches_of_pectin_have_their_weight():
    box = weighed("pectin", "powdered", Role.PECTIN, unit="box")
    pouch = weighed("pectin", "liquid", Role.PECTIN, amount=2, unit="pouch")
    assert (box.grams.best, pouch.grams.best) == (50, 180)
    assert box.brix.best > 80 > 10 > pouch.brix.best


def test_pectin_powder_by_the_spoon_is_refused():
    found = weigh_line(line("pectin", "powdered", Role.PECTIN, 4, "tbsp"))
    assert isinstance(found, Refusal)


def test_a_can_weighs_what_its_line_prints():
    assert weighed("pineapple", "canned, crushed, 20 oz", unit="can").grams.best == pytest.approx(566.99, abs=0.01)
    assert isinstance(weigh_line(line("pineapple", "canned", unit="can")), Refusal)


@pytest.mark.parametrize(
    "lost",
    [
        line("medlars", "sliced"),
        line("starfruit", "", unit="each"),
        line("unheard-of sweetener", "", Role.SUGAR),
        line("sprouts", "chopped", Role.LOW_ACID),
    ],
)
def test_a_line_without_a_weight_is_refused_by_its_name(lost: Ingredient):
    found = weigh_line(lost)
    assert isinstance(found, Refusal)
    assert lost.item in found.message
    assert found.code == "yield-line-without-weight"
    assert found.rule
    assert found.source


@pytest.mark.parametrize("form", ["crushed", "ground", "finely chopped", "juice"])
def test_any_mashed_fruit_is_estimated_and_says_so_and_reaches_wider(form: str):
    unknown, known = weighed("medlars", form), weighed("strawberries", "crushed")
    assert "estimate" in unknown.estimate
    assert not known.estimate
    assert unknown.grams.half_width > 0
    assert unknown.brix.half_width > known.brix.half_width


def test_juice_never_weighs_as_whole_fruit():
    assert weighed("quince juice", "extracted").grams.best > 230
    assert weighed("strawberry-rhubarb juice", "strained").grams.best > 230


def test_berries_by_the_pint_are_measured_whole_and_then_crushed():
    assert weighed("blueberries", "crushed", amount=2, unit="pint").grams.best == 2 * 2 * 148


def test_strained_produce_gives_only_a_share_of_itself():
    mint = line("mint leaves", "chopped, packed", Role.SPICE)
    kept, strained = weigh_line(mint), weigh_line(mint, strained=True)
    assert isinstance(kept, WeighedLine)
    assert isinstance(strained, WeighedLine)
    assert strained.grams.best < kept.grams.best
    assert "strained" in strained.estimate


def test_an_open_amount_reaches_over_all_of_it():
    open_ended = weighed("sugar", "", Role.SUGAR, 4, amount_high=Fraction(5))
    assert open_ended.grams.low < 800
    assert open_ended.grams.best == 900
    assert open_ended.grams.high > 1000
    optional = weighed("sugar", "", Role.SUGAR, 2, optional=True)
    assert optional.grams.low == 0
    assert optional.grams.best == 200
    assert optional.grams.high > 400


@given(st.sampled_from(sorted(PUBLISHED.grams_per_cup)), st.integers(1, 40), st.integers(1, 8))
def test_twice_the_cups_weigh_twice_as_much(food_form: tuple[str, str], eighths: int, times: int):
    food, form = food_form
    one = weigh_line(line(food, form, Role.FRUIT, Fraction(eighths, 8)))
    many = weigh_line(line(food, form, Role.FRUIT, Fraction(eighths * times, 8)))
    assert isinstance(one, WeighedLine)
    assert isinstance(many, WeighedLine)
    assert many.grams.best == pytest.approx(times * one.grams.best)
    assert many.grams.high == pytest.approx(times * one.grams.high)


def test_every_figure_lies_within_its_own_reach_and_names_a_source():
    for table in (PUBLISHED.grams_per_cup, PUBLISHED.grams_each, PUBLISHED.brix):
        for name, figure in table.items():
            assert figure.span.low <= figure.span.best <= figure.span.high, name
            assert len(figure.source) > 4, name


def test_every_name_of_a_food_leads_to_a_food_that_has_solids():
    assert {food for _, food in PUBLISHED.names} <= set(PUBLISHED.brix)


def test_whole_pitted_fruit_becomes_fewer_cups_when_chopped():
    found = cups_between(10, "sweet cherry", "pitted", "finely chopped")
    assert isinstance(found, Span)
    assert 5.5 < found.low < found.best < found.high < 9
    assert isinstance(cups_between(1, "sweet cherry", "pitted", "candied"), Refusal)


def test_words_are_taken_in_the_singular():
    assert words_of("Cherries, peaches, tomatoes and a glass") == ("cherry", "peach", "tomato", "and", "a", "glass")


def test_the_most_telling_word_names_the_form():
    assert form_of(line("blueberries", "fresh or thawed, crushed")) == "crushed"
    assert form_of(replace(line("plum juice"), prep="extracted")) == "juice"


def test_a_form_the_table_lacks_is_taken_from_one_near_it_and_reaches_wider():
    near, printed = weighed("plums", "pitted, chopped"), weighed("plums", "sliced")
    assert near.grams.best == printed.grams.best
    assert near.grams.half_width > printed.grams.half_width
    assert "taken equal to sliced" in near.estimate
    assert not printed.estimate


def test_uncut_fruit_by_the_cup_is_whole_and_no_estimate():
    assert weighed("cranberries").grams.best == 100
    assert not weighed("cranberries").estimate
