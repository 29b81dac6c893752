"""Acid is reckoned: another acid, in any unit and for any jar, is allowed where it is enough, and only there."""

from __future__ import annotations

from fractions import Fraction
from itertools import product

import pytest

from recipes.engine.changes import Ruling, check_change
from recipes.engine.quantities import convert, format_number
from tests.helpers import IS_WHOLE
from tests.published.library import recipes

# Tablespoons that stand for one tablespoon of bottled lemon juice. USDA Complete Guide, Guide 3 (1/4 tsp citric acid);
# North Carolina State Univ., question 167 (twice the measure of 5 percent vinegar).
FOR_ONE_TBSP = {
    "bottled lemon juice": Fraction(1),
    "bottled lime juice": Fraction(1),
    "citric acid": Fraction(1, 12),
    "vinegar": Fraction(2),
    "5 % vinegar": Fraction(2),
    "cider vinegar": Fraction(2),
}
IN_A_JAR = {"quart": 2, "pint": 1}  # tablespoons of bottled lemon juice
WAYS = (
    "{n} {u} {a} per {j} instead of lemon juice",
    "use {n} {u} of {a} per {j} in place of the lemon juice",
    "{a} instead of lemon juice, {n} {u} per {j}",
    "replace the lemon juice with {n} {u} {a} a {j}",
    "swap lemon juice -> {n} {u} {a} in each {j}",
    "{a} for lemon juice at {n} {u} per {j}",
    "lemon juice -> {a}, {n} {u} a {j}",
    "instead of lemon juice use {n} {u} {a} per {j}",
    "I have no lemon juice, can I use {n} {u} {a} per {j}?",
)
TOMATOES = ("tomatoes-raw-no-liquid", "tomato-juice", "tomato-sauce-thin") if IS_WHOLE else ("tomato-juice",)


def measures(acid: str, jar: str):
    """An amount, its unit, and whether it is enough."""
    needed = FOR_ONE_TBSP[acid] * IN_A_JAR[jar]
    for unit, times in product(("tsp", "tbsp", "cup"), (Fraction(1, 2), Fraction(9, 10), Fraction(1), Fraction(2))):
        amount = convert(needed, "tbsp", unit) * times
        if amount.denominator <= 16:
            yield format_number(amount), unit, times >= 1


@pytest.mark.parametrize("acid", FOR_ONE_TBSP)
@pytest.mark.parametrize("jar", IN_A_JAR)
def test_another_acid_for_each_jar_is_allowed_exactly_where_it_is_enough(acid, jar):
    asked = [
        (slug, way.format(n=number, u=unit, a=acid, j=jar), enough)
        for slug, way, (number, unit, enough) in product(TOMATOES, WAYS, measures(acid, jar))
    ]
    assert len(asked) >= 40
    wrong = [
        answer
        for slug, text, enough in asked
        if ((answer := check_change(recipes()[slug], text)).verdict is not Ruling.REFUSED) != enough
    ]
    assert wrong == []


@pytest.mark.parametrize(
    "way", ["use {n} cups vinegar", "vinegar {n} cups", "{n} cups of vinegar instead of 4", "vinegar -> {n} cups"]
)
@pytest.mark.parametrize(
    ("number", "enough"), [("3 3/4", False), ("3.9", False), ("4", True), ("4 1/4", True), ("5", True)]
)
def test_an_amount_for_the_pot_is_allowed_exactly_where_it_is_enough(way, number, enough):
    answer = check_change(recipes()["bread-and-butter-pickles"], way.format(n=number))
    assert (answer.verdict is not Ruling.REFUSED) == enough, answer


# A pot of 8 pints with 4 cups of vinegar, and a pot of 8 to 8 pints: half a cup a pint is the tested measure.
@pytest.mark.parametrize(
    ("text", "enough"),
    [
        ("use 1/2 cup vinegar per pint", True),
        ("use 1/3 cup vinegar per pint", False),
        ("1 cup vinegar per quart", True),
        ("3/4 cup vinegar per quart", False),
    ],
)
def test_an_amount_for_each_jar_counts_for_the_jars_that_the_pot_fills(text, enough):
    answer = check_change(recipes()["dilly-beans-usda"], text)
    assert (answer.verdict is not Ruling.REFUSED) == enough, answer
