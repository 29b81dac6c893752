"""What holds of every text: nothing raises, low-acid food is never added, acid is never lessened."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import example, given, settings
from hypothesis import strategies as st

from recipes.engine.changes import Ruling, check_change, check_changes
from recipes.engine.changes.foods import LOW_ACID
from recipes.engine.changes.vocabulary import rows
from recipes.engine.terms import Method, Role
from tests.helpers import IS_WHOLE
from tests.published.library import recipes

TESTED = sorted(slug for slug, recipe in recipes().items() if recipe.is_tested)
LOW_ACID_WORDS = sorted({row["name"] for row in rows("foods") if row["kind"] in set(LOW_ACID)})
ALL_WORDS = sorted({row["name"] for row in rows("foods")})
PIECES = [
    *(
        "add",
        "omit",
        "less",
        "more",
        "swap",
        "->",
        "for",
        "instead of",
        "use",
        "with",
        "and",
        ",",
        ";",
        "half the",
        "double the",
        "no",
        "reduce",
    ),
    *(
        "by",
        "to",
        "x",
        "-",
        "+",
        "%",
        "25",
        "1/2",
        "1 cup",
        "2 tsp",
        "0",
        "jar",
        "pint",
        "quart",
        "pack",
        "raw",
        "pot",
        "canner",
        "steam",
        "process",
    ),
    *(
        "minutes",
        "psi",
        "vinegar",
        "lemon juice",
        "salt",
        "sugar",
        "fresh",
        "bottled",
        "frozen",
        "peppers",
        "onions",
        "the",
        "of",
        "lids",
        "instead",
    ),
]
ADDING = [
    "add {}",
    "add 1 cup {}",
    "add {} 1 cup",
    "{}",
    "put in some {}",
    "include {}",
    "stir in 2 tbsp {}",
    "plus {}",
    "add a little {}",
]
ADDING += [
    "add chopped {}",
    "add 1 tsp {}",
    "top with {}",
    "add fresh {}",
    "could I add {}?",
    "add {} to each jar",
    "add more {}",
    "extra {}",
]
AMOUNTS = [
    "{item} -{n}%",
    "{n}% less {item}",
    "reduce {item} by {n}%",
    "{item} x0.{n:02d}",
    "reduce the {item} to {n} percent",
    "{item} {n} % less",
]
ACID_SLUGS = [slug for slug in TESTED if any(line.role is Role.ACID for line in recipes()[slug].ingredients)]
slugs = st.sampled_from(TESTED)


@given(slugs, st.text(max_size=80))
@example(TESTED[0], "½ ½ ½ cups -> 1/0 cup")
@example(TESTED[0], "\ud800 add")
@example(TESTED[0], "add 1 1 1/1 cup salt")
@settings(max_examples=300, deadline=None)
def test_no_text_ever_raises(slug, text):
    answer = check_change(recipes()[slug], text)
    assert answer.verdict in set(Ruling)
    assert answer.rule


@given(slugs, st.lists(st.sampled_from([*PIECES, *ALL_WORDS]), max_size=9).map(" ".join))
@settings(max_examples=500, deadline=None)
def test_no_jumble_of_our_own_words_ever_raises(slug, text):
    assert check_changes(recipes()[slug], [text, text]).verdicts[0].rule


@given(slugs, st.sampled_from(ADDING), st.sampled_from(LOW_ACID_WORDS))
@example("bread-and-butter-pickles", "{}", "zucchini")  # allowed in place of the cucumbers
@example("peach-pineapple-spread", "add {}", "sugar snap pea")  # beside sugar, which may be any amount
@settings(max_examples=1500 if IS_WHOLE else 500, deadline=None)
def test_adding_a_low_acid_food_is_never_allowed(slug, how, word):
    answer = check_change(recipes()[slug], how.format(word))
    # Ginger of which nothing else is said is the powder, and is read back so.
    as_powder = word == "ginger" and "ground ginger" in answer.reading
    another_sort = how == "{}" and answer.rule == "SAME-FOOD"  # a pepper alone, in place of the recipe's pepper
    assert answer.verdict is Ruling.REFUSED or as_powder or another_sort, answer


@given(st.sampled_from(ACID_SLUGS), st.sampled_from(AMOUNTS), st.integers(1, 99), st.sampled_from(["acid", "{own}"]))
@settings(max_examples=500, deadline=None)
def test_less_acid_by_any_amount_is_never_allowed(slug, form, percent, name):
    own = next(line.item for line in recipes()[slug].ingredients if line.role is Role.ACID)
    text = form.format(item=name.format(own=own), n=percent)
    answer = check_change(recipes()[slug], text)
    assert answer.verdict is Ruling.REFUSED, answer


@given(st.sampled_from(ACID_SLUGS), st.fractions(Fraction(1, 64), Fraction(63, 64), max_denominator=64))
@settings(max_examples=300, deadline=None)
def test_a_smaller_measure_of_acid_is_never_allowed(slug, share):
    line = next(line for line in recipes()[slug].ingredients if line.role is Role.ACID)
    less = line.amount * share
    number = f"{less.numerator // less.denominator} {less.numerator % less.denominator}/{less.denominator}"
    number = number.removeprefix("0 ") if less.denominator > 1 else str(less)
    for text in (
        f"{line.item} {number} {line.unit}",
        f"use {number} {line.unit} {line.item}",
        f"{line.item} -> {number} {line.unit}",
    ):
        answer = check_change(recipes()[slug], text)
        assert answer.verdict is Ruling.REFUSED, answer


@given(slugs, st.sampled_from(["more {}", "double the {}", "{} +5%", "extra {}", "twice as much {}"]))
@settings(max_examples=300, deadline=None)
def test_more_of_a_low_acid_line_is_never_allowed(slug, form):
    for line in recipes()[slug].ingredients:
        if line.role is Role.LOW_ACID:
            assert check_change(recipes()[slug], form.format(line.item)).verdict is Ruling.REFUSED


def test_no_recipe_allows_what_is_never_done():
    for slug in TESTED:
        for text in (
            "open kettle",
            "paraffin wax",
            "method oven",
            "skip processing",
            "reuse lids",
            "add flour",
            "add cream",
            "jar gallon",
        ):
            assert check_change(recipes()[slug], text).verdict is Ruling.REFUSED, (slug, text)


def test_boiling_water_is_never_allowed_where_only_pressure_is_tested():
    for slug in TESTED:
        recipe = recipes()[slug]
        if recipe.method is Method.PRESSURE:
            assert check_change(recipe, "boiling water instead of pressure").verdict is Ruling.REFUSED
