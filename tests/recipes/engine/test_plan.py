"""A plan shows amounts and a tested process, or says why not and what to do."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.engine.document import recipe_from_document
from recipes.engine.plan import PlanRequest, plan_as_dict, plan_batch
from recipes.engine.quantities import JAR_ML, Amount
from recipes.engine.rules import RULES
from recipes.engine.terms import Altitude, Canner, JarCount, Method, Pack, Seen
from tests.recipes.engine.samples import snap_beans, strawberry_jam

F = Fraction
JAM = recipe_from_document(strawberry_jam())
BEANS = recipe_from_document(snap_beans())
HOME = Altitude.from_feet(3412)
KEYS = {
    "hand_work",
    "steps",
    "look_up",
    "low_temperature",
    "refrigerator",
    "printed_load",
    "packing_liquid",
    "choices",
    "food",
    "recipe",
    "revision",
    "source",
    "altitude_m",
    "boiling_point_c",
    "jelly_point_c",
    "pots",
    "lines",
    "predicted_volume_ml",
    "predicted_brix",
    "yield",
    "jars",
    "leftover_ml",
    "process",
    "loads",
    "sterilise_jars",
    "timeline",
    "cautions",
    "refusals",
}


def jam(recipe=JAM, **wanted):
    return plan_batch(recipe, PlanRequest(**{"altitude": HOME, **wanted}))


def beans(**wanted):
    return plan_batch(BEANS, PlanRequest(**{"altitude": HOME, **wanted}))


def codes(reasons) -> list[str]:
    for reason in reasons:
        assert reason.rule in RULES
        assert reason.source
        assert reason.message.endswith(".")
    return [reason.code for reason in reasons]


def test_a_plan_for_jars_is_whole():
    found = plan_batch(JAM, PlanRequest(altitude=HOME, jars=10), revision=3)
    assert found.ok
    assert (found.revision, found.pots, found.pot_scale) == (3, 2, 1)
    assert found.jars == (JarCount("half-pint", 16),)
    assert found.leftover_ml == 0
    assert found.filled_ml == 16 * F("236.5882365")
    assert found.process.minutes == 10
    assert found.boiling_point_c == pytest.approx(96.52, abs=0.01)
    assert found.jelly_point_c == pytest.approx(100.96, abs=0.01)
    assert {"one-pot-at-a-time", "more-jars-than-asked"} <= set(codes(found.cautions))


def test_a_jelly_point_follows_the_end_point_that_the_recipe_prints():
    other = replace(JAM, endpoint_f_above_boiling=F(9))
    assert jam(other, pots=1).jelly_point_c - jam(pots=1).jelly_point_c == pytest.approx(5 / 9)


def test_without_an_altitude_there_are_amounts_but_no_process():
    found = jam(pots=1, altitude=None)
    assert codes(found.refusals) == ["altitude-unknown"]
    assert found.lines
    assert found.jars == (JarCount("half-pint", 8),)
    assert (found.process, found.sterilise_jars, found.sterilise_minutes) == (None, None, None)
    assert (found.boiling_point_c, found.jelly_point_c) == (None, None)


def test_every_reason_against_a_wish_is_named_at_once():
    found = beans(altitude=None, pots=0, canner=None)
    assert set(codes(found.refusals)) == {"altitude-unknown", "canner-unknown", "wish-not-positive"}
    assert (found.lines, found.process, found.pots, found.jars) == ((), None, None, ())


def test_an_impossible_altitude_gives_no_process_and_no_boiling_point():
    found = jam(pots=1, altitude=Altitude(F(9000)))
    assert codes(found.refusals) == ["altitude-out-of-range"]
    assert (found.process, found.boiling_point_c) == (None, None)


@pytest.mark.parametrize("seen", ["amounts_seen", "process_seen"])
def test_an_untested_recipe_is_refused_whole(seen):
    found = jam(replace(JAM, **{seen: Seen.MEMORY}), pots=1)
    assert codes(found.refusals) == ["recipe-not-tested"]
    assert (found.process, found.lines, found.jars, found.cautions) == (None, (), (), ())


@pytest.mark.parametrize(
    ("wanted", "code"),
    [
        ({}, "wish-missing"),
        ({"pots": 1, "jars": 3}, "wish-unclear"),
        ({"pots": -2}, "wish-not-positive"),
        ({"jars": 0}, "wish-not-positive"),
        ({"pots": 61}, "too-many-pots"),
        ({"fruit": Amount(F(1), "g")}, "fruit-too-little"),
        ({"fruit": Amount(F(1), "box")}, "fruit-not-comparable"),
        ({"pots": 1, "jar": "bucket"}, "jar-unknown"),
        ({"jars": 4, "jar": "bucket"}, "jar-unknown"),
        ({"pots": 1, "jar": "quart"}, "jar-too-large"),
        ({"pots": 1, "pack": Pack.RAW}, "pack-not-tested"),
        ({"pots": 1, "canner": Canner.WEIGHTED_GAUGE}, "boiling-water-only"),
    ],
)
def test_a_request_that_cannot_be_met_is_refused_with_its_reason(wanted, code):
    found = jam(**wanted)
    assert codes(found.refusals) == [code]
    assert not found.ok


def test_a_jar_that_is_not_tested_is_not_counted_out():
    found = jam(pots=1, jar="quart")
    assert (found.process, found.jars, found.leftover_ml) == (None, (), None)


def test_a_suspect_yield_plans_by_pots_only_and_from_the_low_end_of_the_mass_balance():
    doubtful = replace(JAM, stated_yield=replace(JAM.stated_yield, seen=Seen.SUSPECT))
    assert codes(jam(doubtful, jars=4).refusals) == ["yield-not-seen"]
    found = jam(doubtful, pots=1)
    assert found.ok
    assert (found.filled_basis, found.filled_ml) == ("mass-balance", found.predicted.low_ml)
    assert found.jars == (JarCount("half-pint", 7),)
    assert "yield-unknown" in codes(found.cautions)


def test_a_suspect_yield_of_a_pot_that_cannot_be_weighed_predicts_nothing():
    doubtful = replace(JAM, stated_yield=replace(JAM.stated_yield, seen=Seen.SUSPECT), hard_boil=None)
    found = jam(doubtful, pots=1)
    assert found.ok
    assert (found.predicted_volume_ml, found.jars, found.leftover_ml) == (None, (), None)
    assert (found.loads, found.day) == ((), None)
    assert "yield-unknown" in codes(found.cautions)


def test_fruit_at_hand_is_planned_with_what_is_left_over_as_a_cook_weighs_it():
    found = jam(fruit=Amount(F(2), "kg"))
    assert found.pots == 2
    assert {"fruit-prepared", "fruit-left-over"} <= set(codes(found.cautions))
    assert any("145 g" in caution.message for caution in found.cautions)


def test_short_processes_want_sterile_jars_with_their_minutes():
    low = jam(pots=1, altitude=Altitude(F(-20)))
    assert (low.sterilise_jars, low.sterilise_minutes) == (True, 10)
    assert {"sterilise-jars", "below-sea-level"} <= set(codes(low.cautions))
    assert (jam(pots=1).sterilise_jars, jam(pots=1).sterilise_minutes) == (False, None)


def test_pressure_brings_venting_and_a_dial_gauge_its_yearly_test():
    dial = beans(jars=7, pack=Pack.HOT, canner=Canner.DIAL_GAUGE)
    assert {"vent", "gauge-test", "pressure-drop"} <= set(codes(dial.cautions))
    weighted = beans(jars=7, pack=Pack.HOT, canner=Canner.WEIGHTED_GAUGE)
    assert "gauge-test" not in codes(weighted.cautions)
    assert "water-over-jars" not in codes(weighted.cautions)


def test_a_part_load_says_so():
    found = beans(jars=10, pack=Pack.HOT, canner=Canner.DIAL_GAUGE)
    assert (found.pots, found.pot_scale, found.jars) == (2, F(5, 7), (JarCount("quart", 10),))
    assert "part-pot" in codes(found.cautions)


def test_a_freezer_recipe_needs_no_altitude_and_has_no_process():
    frozen = replace(JAM, method=Method.FREEZER, process=(), process_seen=None)
    found = jam(frozen, pots=1, altitude=None)
    assert found.ok
    assert (found.process, found.sterilise_jars) == (None, None)
    assert found.jars == (JarCount("half-pint", 8),)
    assert "freezer-only" in codes(found.cautions)
    assert codes(jam(frozen, pots=1, jar="bucket").refusals) == ["jar-unknown"]


def test_the_recipes_own_cautions_come_with_its_source():
    own = [caution for caution in jam(pots=1).cautions if caution.code == "recipe"]
    assert [(caution.message, caution.source) for caution in own] == [
        ("Skim before filling.", "Complete Guide to Home Canning, Guide 7")
    ]


def test_the_dict_has_every_key_and_is_plain_json():
    for found in (jam(jars=10), jam(), jam(pots=1, altitude=None), beans(pots=1), jam(replace(JAM, slug="x"), pots=2)):
        written = plan_as_dict(found)
        assert set(written) == KEYS
        assert json.loads(json.dumps(written)) == written


def test_the_dict_says_what_the_plan_says():
    written = plan_as_dict(plan_batch(JAM, PlanRequest(altitude=HOME, jars=10), revision=3))
    assert written["recipe"] == "strawberry-jam-liquid"
    assert written["revision"] == 3
    assert written["altitude_m"] == 1039.9776
    assert written["jars"] == [{"size": "half-pint", "count": 16}]
    assert written["process"] == {
        "method": "boiling-water",
        "minutes": 10,
        "pressure_psi": None,
        "gauge": None,
        "gauge_reads_high_psi": None,
        "setting_psi": None,
        "band": "1,001 to 6,000 ft (305 to 1,828 m)",
        "pack": "hot",
        "jar": "half-pint",
        "tested_jar": "half-pint",
        "headspace_in": 0.25,
        "vent_minutes": 0,
        "canner": "boiling-water",
        "condition": None,
        "dispute": None,
        "source": written["source"],
    }
    assert written["lines"][1] == {
        "item": "sugar",
        "prep": "granulated",
        "role": "sugar",
        "optional": False,
        "amount": 14,
        "amount_high": None,
        "amount_per_pot": 7,
        "unit": "cup",
        "text": "14 cups",
        "text_per_pot": "7 cups",
        "grams": None,
        "rounding_error_pct": 0,
        "use": "jar",
        "per_jar": [],
    }
    assert written["predicted_brix"] == pytest.approx(62.9, abs=0.3)
    assert written["yield"]["filled_basis"] == "stated-yield"
    assert [load["minutes"] for load in written["loads"]] == [10, 10]
    assert written["timeline"][-1]["what"] == "lift jars out"


odd_counts = st.none() | st.integers() | st.integers(min_value=1, max_value=40)
requests = st.builds(
    PlanRequest,
    altitude=st.none() | st.fractions(min_value=-2000, max_value=9000, max_denominator=100).map(Altitude),
    pots=odd_counts,
    jars=odd_counts,
    fruit=st.none() | st.builds(Amount, st.fractions(max_denominator=100), st.sampled_from(["kg", "cup", "box", "x"])),
    jar=st.none() | st.sampled_from(["half-pint", "quart", "bucket", ""]),
    pack=st.none() | st.sampled_from(Pack),
    canner=st.none() | st.sampled_from(Canner),
    empties=st.none() | st.dictionaries(st.sampled_from(["half-pint", "pint", "quart"]), st.integers(0, 30)),
    burners=st.none() | st.integers(0, 8),
    canners=st.none() | st.integers(0, 3),
    cooks=st.none() | st.integers(0, 3),
    stove=st.sampled_from(["electric", "gas", "coal"]),
    finish=st.none() | st.integers(0, 1439),
)


@given(requests, st.sampled_from([JAM, BEANS]))
def test_no_request_raises_and_a_plan_without_refusals_is_complete(wanted, recipe):
    found = plan_batch(recipe, wanted)
    json.dumps(plan_as_dict(found))
    codes(found.refusals)
    if found.ok:
        assert found.process is not None
        assert found.lines
        assert found.altitude is not None
    else:
        assert (found.loads, found.day) == ((), None)
    if found.mixes:
        filled = sum(JAR_ML[jar.size] * jar.count for jar in found.jars)
        assert filled + found.leftover_ml == found.filled_ml
    if found.process is not None:
        assert found.process.source == recipe.source


@given(st.integers(min_value=1, max_value=60))
def test_planned_jars_are_never_fewer_than_wanted(jars):
    found = jam(jars=jars)
    assert found.jars[0].count >= jars
