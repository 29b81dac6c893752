"""From typed text to the engine's plan."""

from __future__ import annotations

from fractions import Fraction

import pytest

from recipes.engine import FOUR_QUART, SEVEN_QUART, altitude_from_text
from recipes.engine.terms import Canner, Pack
from recipes.planning import PLAN_FIELDS, PlanInputError, plan_for, read_plan_input
from tests.factories.recipes import VEGETABLE, make_revision

HIGH = altitude_from_text("1040 m")


@pytest.mark.parametrize(
    ("data", "wanted"),
    [
        ({"pots": "2"}, {"pots": 2}),
        ({"jars": " 7 ", "jar": "pint"}, {"jars": 7, "jar": "pint"}),
        ({"jars": "7", "pots": "", "fruit": None, "pack": "hot"}, {"jars": 7, "pack": Pack.HOT}),
        ({"pots": "1", "canner": "dial-gauge", "other": "x"}, {"pots": 1, "canner": Canner.DIAL_GAUGE}),
        ({"pots": "1", "empties": "half-pint=12, pint=0"}, {"pots": 1, "empties": {"half-pint": 12, "pint": 0}}),
        ({"pots": "1", "burners": "0", "cooks": "2"}, {"pots": 1, "burners": 0, "cooks": 2}),
        ({"pots": "1", "stove": "gas", "finish": "16:30"}, {"pots": 1, "stove": "gas", "finish": 990}),
        ({"pots": "1", "capacity": "7 quarts"}, {"pots": 1, "capacity": SEVEN_QUART}),
        ({"pots": "1", "capacity": "4-qt"}, {"pots": 1, "capacity": FOUR_QUART}),
    ],
)
def test_what_is_typed_becomes_plan_input(data, wanted):
    nothing = dict.fromkeys(PLAN_FIELDS) | {"stove": "electric"}
    assert read_plan_input(data) == {**nothing, **wanted}


def test_fruit_is_an_amount_with_its_unit():
    fruit = read_plan_input({"fruit": "4.5 kg"})["fruit"]
    assert (fruit.value, fruit.unit) == (Fraction(9, 2), "kg")


@pytest.mark.parametrize(
    ("data", "fields"),
    [
        ({}, {"jars"}),
        ({"jars": "", "pots": "  "}, {"jars"}),
        ({"jars": "2", "pots": "1"}, {"jars", "pots"}),
        ({"jars": "2", "fruit": "1 kg", "pots": "1"}, {"jars", "pots", "fruit"}),
        *[({"pots": bad}, {"pots"}) for bad in ("0", "-1", "1.5", "two", "1000", "9" * 5000, "٣", "1e3", "1_0", "½")],
        *[({"fruit": bad}, {"fruit"}) for bad in ("4.5", "kg", "-1 kg", "1 furlong", "0 kg", "x" * 5000)],
        ({"jars": "2", "jar": "bucket"}, {"jar"}),
        ({"jars": "2", "pack": "cold"}, {"pack"}),
        *[
            ({"jars": "2", "empties": bad}, {"empties"})
            for bad in ("pint", "pint=x", "bucket=3", "pint=1,pint=2", "12", "pint=-1", "pint=99999")
        ],
        *[({"jars": "2", "capacity": bad}, {"capacity"}) for bad in ("15 quart", "large", "pint=0", "bucket=3")],
        *[({"jars": "2", "finish": bad}, {"finish"}) for bad in ("24:00", "noon", "9", "09:60", "1:5")],
        *[({"jars": "2", gear: "-1"}, {gear}) for gear in ("burners", "canners", "cooks")],
        ({"jars": "2", "stove": "coal"}, {"stove"}),
        ({"jars": "2", "canner": "oven"}, {"canner"}),
        ({"jars": "many", "jar": "bucket", "pack": "cold"}, {"jars", "jar", "pack"}),
    ],
)
def test_what_cannot_be_understood_is_said_by_field(data, fields):
    with pytest.raises(PlanInputError) as refused:
        read_plan_input(data)
    assert set(refused.value.problems) == fields
    assert all(refused.value.problems.values())


@pytest.mark.django_db
def test_a_published_revision_is_planned_from():
    plan = plan_for(revision=make_revision(), altitude=HIGH, pots=2)
    assert plan.ok
    assert (plan.revision, plan.pots, plan.process.minutes) == (1, 2, 10)


@pytest.mark.django_db
def test_a_withdrawn_revision_gives_no_process_and_the_reason():
    revision = make_revision(state="withdrawn")
    plan = plan_for(revision=revision, altitude=HIGH, pots=1)
    assert not plan.ok
    assert plan.process is None
    assert plan.refusals[0].code == "revision-withdrawn"
    assert revision.withdrawn_reason in plan.refusals[0].message
    assert (plan.loads, plan.day, plan.cautions) == ((), None, ())


@pytest.mark.django_db
@pytest.mark.parametrize("state", ["draft", "in-review"])
def test_a_draft_gives_no_process(state):
    plan = plan_for(revision=make_revision(state=state), altitude=HIGH, pots=1)
    assert (plan.process, plan.loads, plan.day) == (None, (), None)
    assert plan.refusals[0].code == "revision-not-published"


@pytest.mark.django_db
def test_a_kitchen_without_altitude_gets_no_process_time():
    plan = plan_for(revision=make_revision(), altitude=None, pots=1)
    assert (plan.process, plan.sterilise_jars) == (None, None)
    assert {refusal.code for refusal in plan.refusals} == {"altitude-unknown"}


@pytest.mark.django_db
def test_a_pressure_recipe_asks_for_gauge_and_pack_rather_than_guess():
    revision = make_revision(base=VEGETABLE)
    refused = plan_for(revision=revision, altitude=HIGH, pots=1)
    assert refused.process is None
    assert not refused.ok
    found = plan_for(revision=revision, altitude=HIGH, pots=1, pack=Pack.RAW, canner=Canner.DIAL_GAUGE, jar="pint")
    assert (found.process.minutes, found.process.pressure_psi) == (20, 12)


def test_a_canner_may_be_named_by_what_stands_in_it():
    found = read_plan_input({"pots": "1", "capacity": "half-pint=12,pint=7"})["capacity"]
    assert (found.holds("half-pint"), found.holds("pint"), found.holds("quart")) == (12, 7, 0)
    assert "no source" in found.source


@pytest.mark.django_db
def test_jars_at_hand_and_gear_reach_the_plan():
    wanted = read_plan_input({"pots": "2", "empties": "half-pint=3,pint=4", "canners": "2", "finish": "12:00"})
    plan = plan_for(revision=make_revision(), altitude=HIGH, **wanted)
    assert {jar.size: jar.count for jar in plan.jars} == {"pint": 4, "half-pint": 2}
    assert (plan.process.jar, plan.finish) == ("pint", 720)
    assert plan_for(revision=make_revision(), altitude=HIGH, pots=1, burners=0).refusals[0].code == "no-burner"


@pytest.mark.parametrize(
    ("jar", "use"), [("500 ml", "pint"), ("1 l", "quart"), ("0,75l", "pint-and-half"), ("50 ml", "quarter-pint")]
)
def test_a_jar_of_another_country_is_refused_with_the_jar_to_use(jar, use):
    with pytest.raises(PlanInputError) as caught:
        read_plan_input({"jars": "3", "jar": jar})
    assert f"Use a {use} jar" in caught.value.problems["jar"]
