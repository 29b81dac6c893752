"""Hands before the pot: which tasks a line asks for, how long they take, and what a source says of it."""

from __future__ import annotations

from fractions import Fraction

import pytest

from recipes.engine.handwork import PACES, TASKS, hand_work, paces_of
from recipes.engine.mass_balance import words_of
from recipes.engine.scaling import Line
from recipes.engine.terms import Ingredient, RecipeStep, Role


def line(item: str, prep: str = "", amount: str = "9", unit: str = "kg", role: Role = Role.FRUIT) -> Line:
    printed = Ingredient(item, prep, role, Fraction(amount), unit)
    grams = Fraction(amount) * 1000 if unit == "kg" else None
    return Line(printed, printed.amount, None, printed.amount, "", "", grams, Fraction(0))


def tasks(item: str, prep: str = "") -> tuple[str, ...]:
    return tuple(pace.task for pace in paces_of(frozenset(words_of(f"{item} {prep}"))))


@pytest.mark.parametrize(
    ("item", "prep", "asked"),
    [
        ("tomatoes", "peeled, cored", ("wash", "peel", "core")),
        ("strawberries", "crushed", ("wash", "hull", "crush")),
        ("sour cherries", "pitted", ("wash", "stem", "pit")),
        ("sweet corn", "in husks, cut", ("wash", "husk", "cut")),
        ("green peas", "in pods, shelled", ("wash", "shell")),
        ("green or wax beans", "1-in pieces", ("wash", "snap")),
        ("carrots", "sliced or diced", ("wash", "peel", "chop")),  # of two ways of cutting the slower
        ("grape juice", "extracted", ()),
        ("garbanzo beans", "canned, drained", ()),
    ],
)
def test_a_line_tells_what_is_done_to_it(item, prep, asked):
    assert tasks(item, prep) == asked


def test_nine_kilograms_of_tomatoes_for_two_cooks():
    (work,) = hand_work([line("tomatoes", "peeled, cored")], ())
    low, high = work.minutes(2)
    assert (work.kg, work.low, work.high) == (9, 9 * 5.5, 9 * 11)
    assert (low, high) == (25, 50)


def test_a_step_tells_it_of_the_food_there_is_most_of():
    peel = RecipeStep("Peel them.", action="peel")
    found = hand_work([line("tomatoes"), line("onions", "chopped", "1", role=Role.LOW_ACID)], [peel])
    assert {work.item: "peel" in work.tasks for work in found} == {"tomatoes": True, "onions": True}
    (bare,) = hand_work([line("tomatoes")], ())
    assert "peel" not in bare.tasks


def test_sugar_is_no_hand_work_and_what_nobody_can_weigh_is_none():
    assert hand_work([line("sugar", role=Role.SUGAR), line("moon dust", unit="jar")], ()) == ()


def test_every_pace_is_a_range_with_a_source_and_only_what_was_read_is_marked_so():
    for pace in PACES:
        assert 0 <= pace.low <= pace.high
        assert pace.source
        assert pace.seen in ("", "seen-once")
        assert bool(pace.seen) == ("home report" in pace.source)
        assert pace.task in TASKS
