"""A plan's jars, loads and timeline: only tested sizes, the longest process said, nothing that a refusal touches."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.engine.document import recipe_from_document
from recipes.engine.jars import FOUR_QUART, capacity
from recipes.engine.plan import PlanRequest, plan_as_dict, plan_batch
from recipes.engine.quantities import JAR_ML
from recipes.engine.schedule import StepKind
from recipes.engine.terms import Altitude, Canner, JarCount, Method, Pack, Seen
from tests.recipes.engine.samples import put, snap_beans, strawberry_jam

F = Fraction
JAM = recipe_from_document(strawberry_jam())
BEANS = recipe_from_document(snap_beans())
SLOWER_PINTS = recipe_from_document(put(strawberry_jam(), "process.1.minutes", [[1000, 8], [6000, 20], ["above", 25]]))
HOME = Altitude(F(1040))
SHORE = Altitude(F(0))


def jam(recipe=JAM, **wanted):
    return plan_batch(recipe, PlanRequest(**{"altitude": HOME, "pots": 2, **wanted}))


def beans(recipe=BEANS, **wanted):
    return plan_batch(
        recipe, PlanRequest(**{"altitude": HOME, "pots": 1, "pack": Pack.HOT, "canner": Canner.DIAL_GAUGE, **wanted})
    )


def codes(reasons) -> set[str]:
    return {reason.code for reason in reasons}


def test_the_worked_example_of_the_documentation():
    found = jam(empties={"half-pint": 12, "pint": 3}, finish=16 * 60)
    assert found.jars == (JarCount("pint", 3), JarCount("half-pint", 10))
    assert [mix.counts for mix in found.mixes] == [{"pint": 3, "half-pint": 2}, {"half-pint": 8}]
    assert (len(found.loads), found.leftover_ml, found.day.minutes, found.begins) == (2, 0, 122, 13 * 60 + 58)
    steps = plan_as_dict(found)["timeline"]
    assert (steps[0]["starts"], steps[-1]["ends"]) == ("13:58", "16:00")
    assert (steps[0]["start_min"], steps[-1]["end_min"]) == (0, 122)


def test_a_step_as_plain_values_says_what_when_and_with_what():
    found = jam(pots=1)
    step = next(step for step in found.day.steps if step.kind is StepKind.PROCESS)
    entry = next(entry for entry in plan_as_dict(found)["timeline"] if entry["what"] == "process")
    assert entry == {
        "what": "process",
        "start_min": step.start,
        "end_min": step.end,
        "pot": 1,
        "load": 1,
        "burner": 1,
        "canner": 1,
        "cook": None,
    }


def test_a_prediction_by_weight_stands_beside_the_sources_yield_and_does_not_replace_it():
    found = jam(pots=1)
    assert found.predicted.basis == "mass-balance"
    assert found.predicted.low_ml < found.predicted.best_ml < found.predicted.high_ml
    assert found.predicted.low_ml <= found.filled_ml <= found.predicted.high_ml
    assert found.filled_basis == "stated-yield"
    assert 60 < found.predicted.brix.best < 66


def test_a_pot_of_no_class_is_predicted_by_its_source_and_says_why():
    found = beans(replace(BEANS, kind="fish"))
    assert (found.predicted.basis, found.predicted.brix) == ("stated-yield", None)
    assert found.predicted_volume_ml == 7 * JAR_ML["quart"]
    assert "only its own yield is known" in str(found.predicted.why_not)


def test_packed_food_is_predicted_by_its_class_and_its_jars_stay_those_of_the_source():
    found, plain = beans(), beans(replace(BEANS, kind="fish"))
    assert found.predicted.basis == "packed"
    assert found.predicted.low_ml < found.predicted.best_ml < found.predicted.high_ml
    assert (found.filled_basis, found.jars, found.lines) == ("stated-yield", plain.jars, plain.lines)
    assert (found.process, found.loads) == (plain.process, plain.loads)


def test_a_line_without_a_weight_is_a_caution_and_no_refusal():
    odd = replace(JAM.ingredients[1], item="moon dust", unit="jar", role=JAM.ingredients[1].role)
    found = jam(replace(JAM, ingredients=(*JAM.ingredients, odd)))
    assert found.ok
    assert "yield-line-without-weight" in codes(found.cautions)
    assert found.jars == (JarCount("half-pint", 16),)


def test_source_and_weight_that_differ_by_whole_jars_are_both_said():
    stingy = replace(JAM, stated_yield=replace(JAM.stated_yield, low=F(5), high=F(5)))
    assert "yield-differs" in codes(jam(stingy).cautions)
    assert "yield-differs" not in codes(jam().cautions)


def test_empties_are_filled_in_tested_sizes_only():
    found = jam(empties={"quart": 50, "half-pint": 20})
    assert found.jars == (JarCount("half-pint", 16),)


def test_a_size_that_was_asked_for_is_the_only_one_filled():
    found = jam(empties={"pint": 3, "half-pint": 20}, jar="pint")
    assert found.jars == (JarCount("pint", 3),)
    assert "empties-short" in codes(found.cautions)


def test_no_empties_that_serve_are_a_caution_and_the_process_still_stands():
    found = jam(empties={"quart": 3})
    assert found.ok
    assert (found.jars, found.leftover_ml, found.loads, found.day) == ((), None, (), None)
    assert "no-empties" in codes(found.cautions)
    assert found.process.minutes == 10


def test_the_process_shown_is_that_of_the_largest_jar_and_every_load_has_its_own():
    found = jam(SLOWER_PINTS, empties={"pint": 3, "half-pint": 10})
    assert (found.process.jar, found.process.minutes) == ("pint", 20)
    for load in found.loads:
        assert {jar.size for jar in load.jars} == {"pint" if load.process.minutes == 20 else "half-pint"}
    assert "several-processes" in codes(found.cautions)


def test_jars_are_sterilised_when_any_process_of_the_mix_is_short():
    longer = recipe_from_document(put(strawberry_jam(), "process.1.minutes", [[1000, 15], ["above", 25]]))
    found = jam(longer, altitude=SHORE, empties={"pint": 3, "half-pint": 10}, canners=2)
    assert found.process.minutes == 15
    assert (found.sterilise_jars, found.sterilise_minutes) == (True, 10)
    assert "sterilise-jars" in codes(found.cautions)
    assert StepKind.STERILISE in {step.kind for step in found.day.steps}


def test_what_is_left_over_is_for_the_refrigerator_pot_by_pot():
    found = jam(replace(JAM, stated_yield=replace(JAM.stated_yield, low=F(15, 2), high=F(8))))
    assert found.jars == (JarCount("half-pint", 14),)
    assert [mix.part_jar.use for mix in found.mixes] == ["for the refrigerator"] * 2
    assert found.leftover_ml == JAR_ML["half-pint"]
    assert sum(jar.count for load in found.loads for jar in load.jars) == 14


@pytest.mark.parametrize("wanted", [{"altitude": None}, {"jar": "quart"}, {"pack": Pack.RAW}, {"jars": 3}])
def test_a_refused_plan_has_no_loads_and_no_timeline(wanted):
    found = jam(**wanted)
    written = plan_as_dict(found)
    assert not found.ok
    assert (written["loads"], written["timeline"]) == ([], [])


@pytest.mark.parametrize(
    ("gear", "code"),
    [
        ({"burners": 0}, "no-burner"),
        ({"burners": 1}, "one-burner"),
        ({"canners": 0}, "no-canner"),
        ({"cooks": 0}, "no-cook"),
        ({"stove": "coal"}, "stove-unknown"),
    ],
)
def test_gear_that_was_named_and_cannot_do_the_work_is_refused(gear, code):
    assert codes(jam(**gear).refusals) == {code}


def test_what_cannot_be_timed_is_a_caution_with_its_loads():
    found = jam(jar="quarter-pint", pots=1)
    assert found.ok
    assert "pot-over-canner" in codes(found.cautions)
    assert found.day is None
    assert [load.canner for load in found.loads] == [None, None]
    assert sum(jar.count for load in found.loads for jar in load.jars) == 16


def test_a_jar_too_tall_for_the_canner_is_counted_and_said():
    found = beans(capacity=capacity("a tiny canner", "test", pint=4))
    assert found.ok
    assert found.jars == (JarCount("quart", 7),)
    assert found.loads == ()
    assert "jar-not-in-canner" in codes(found.cautions)


def test_a_smaller_canner_needs_more_loads():
    assert [len(beans(capacity=size).loads) for size in (None, FOUR_QUART)] == [1, 2]


def test_two_canners_end_a_day_of_vegetables_sooner():
    one, two = (beans(pots=4, canners=count) for count in (1, 2))
    assert two.day.minutes < one.day.minutes


def test_a_freezer_recipe_has_a_day_without_canner_or_altitude():
    frozen = replace(JAM, method=Method.FREEZER, process=(), process_seen=None)
    found = jam(frozen, altitude=None, empties={"half-pint": 4, "pint": 20})
    assert found.ok
    assert found.loads == ()
    assert {step.canner for step in found.day.steps} == {None}


def test_an_untested_recipe_gets_neither_yield_nor_day():
    found = jam(replace(JAM, amounts_seen=Seen.MEMORY))
    assert (found.predicted, found.mixes, found.loads, found.day) == (None, (), (), None)


def test_a_day_that_begins_before_midnight_still_has_its_clock():
    found = jam(finish=30)
    assert found.begins == 30 - found.day.minutes < 0
    steps = plan_as_dict(found)["timeline"]
    assert (steps[0]["starts"], steps[-1]["ends"]) == ("22:25", "00:30")


@given(
    st.dictionaries(st.sampled_from(["quarter-pint", "half-pint", "pint", "quart"]), st.integers(0, 40)),
    st.integers(1, 5),
)
def test_no_more_jars_are_filled_than_stand_empty_and_every_full_jar_is_in_one_load(empties, pots):
    found = jam(empties=empties, pots=pots)
    for jar in found.jars:
        assert jar.count <= empties[jar.size]
        assert jar.size in ("quarter-pint", "half-pint", "pint")
    if found.loads:
        in_loads = {jar.size: 0 for jar in found.jars}
        for load in found.loads:
            assert load.filled <= 1
            for jar in load.jars:
                in_loads[jar.size] += jar.count
        assert in_loads == {jar.size: jar.count for jar in found.jars}
