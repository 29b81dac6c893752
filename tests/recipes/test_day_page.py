"""The yield and the day in the words of a page."""

from __future__ import annotations

import pytest

from recipes.engine import PlanRequest, Process, plan_batch
from recipes.engine.document import recipe_from_document
from recipes.engine.terms import Altitude, Method
from recipes.presentation import day_summary, load_lines, pot_jars, process_text, step_lines, yield_details
from tests.recipes.engine.samples import snap_beans, strawberry_jam

HOME = Altitude.from_feet(3412)
JAM = recipe_from_document(strawberry_jam())
BEANS = recipe_from_document(snap_beans())


def jam(**wanted):
    return plan_batch(JAM, PlanRequest(**{"altitude": HOME, "pots": 2, **wanted}))


def test_a_yield_by_weight_has_its_reach_its_brix_and_what_was_estimated():
    said = yield_details(jam(pots=1))
    assert said.jars_a_pot == "7.7 (7.3 to 8.1)"
    assert said.brix == "63 (61 to 65)"
    assert said.basis.startswith("By weight")
    assert said.assumptions
    assert "source states" in said.filled_by


def test_a_yield_that_only_the_source_tells_says_so():
    endless = {key: value for key, value in strawberry_jam().items() if key != "hard_boil"}
    said = yield_details(plan_batch(recipe_from_document(endless), PlanRequest(altitude=HOME, pots=1)))
    assert (said.brix, said.reach) == ("", "")
    assert "only its own yield is known" in said.basis


def test_without_any_yield_there_are_no_words():
    assert yield_details(jam(pots=None)) is None


def test_pots_that_are_filled_alike_share_a_line():
    assert [(line.pots, line.jars) for line in pot_jars(jam(pots=3))] == [
        ("Pots 1 to 3, each", "8 × half-pint (237 ml)")
    ]
    mixed = pot_jars(jam(pots=3, empties={"pint": 3, "half-pint": 50}))
    assert [line.pots for line in mixed] == ["Pot 1", "Pots 2 to 3, each"]


def test_a_part_filled_jar_is_for_the_refrigerator_or_has_no_jar():
    (line,) = pot_jars(jam(pots=1, jar="half-pint", empties={"half-pint": 7}))
    assert "no empty jar" in line.part_jar
    (line,) = pot_jars(jam(pots=1, jar="twelve-ounce", empties={"twelve-ounce": 9}))
    assert "for the refrigerator, not processed" in line.part_jar


def test_a_load_says_its_jars_its_process_and_how_full_it_is():
    first = load_lines(jam())[0]
    assert (first.jars, first.process, first.room) == ("8 × half-pint (237 ml)", "10 minutes", "67 %")
    assert process_text(Process(Method.PRESSURE, 1, 12)) == "1 minute at 12 psi (83 kPa)"


@pytest.mark.parametrize(
    ("finish", "first", "summary"),
    [
        (None, "0:00", "2 h 5 min"),
        (16 * 60, "13:55", "13:55 to 16:00, 2 h 5 min"),
        (60, "22:55", "22:55 the day before to 01:00, 2 h 5 min"),
    ],
)
def test_steps_are_timed_by_the_clock_only_with_a_finish(finish, first, summary):
    found = jam(finish=finish)
    assert (step_lines(found)[0].begin, day_summary(found)) == (first, summary)


def test_without_a_timeline_nothing_is_said_of_the_day():
    found = jam(jar="quart")
    assert (step_lines(found), day_summary(found), load_lines(found)) == ([], "", [])
