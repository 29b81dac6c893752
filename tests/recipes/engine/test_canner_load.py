"""A plan by the canner load: as much as is printed, jar by jar, with the steps, syrup and choices of its own."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from recipes.engine import Plan, PlanRequest, capacity, plan_as_dict, plan_batch
from recipes.engine.document import recipe_from_document
from recipes.engine.quantities import parse_amount
from recipes.engine.terms import Altitude, Canner, Pack
from tests.recipes.engine.samples import SOURCE, detailed_beans, put, snap_beans, strawberry_jam

LOW = Altitude(Fraction(100))


def beans(document: dict[str, Any] | None = None, **wanted: Any) -> Plan:
    given = {"altitude": LOW, "canner": Canner.DIAL_GAUGE, "pack": Pack.HOT, **wanted}
    plain = detailed_beans()
    del plain["packing_liquids"]
    return plan_batch(recipe_from_document(document or plain), PlanRequest(**given))


def amounts(plan: Plan) -> dict[str, tuple[Fraction, str]]:
    return {line.ingredient.item: (line.amount, line.ingredient.unit) for line in plan.lines}


def codes(plan: Plan) -> list[str]:
    return [caution.code for caution in plan.cautions]


def test_nine_pints_are_the_nine_pounds_that_are_printed_in_one_load():
    plan = beans(jars=9, jar="pint")
    assert amounts(plan) == {"green beans": (9, "lb"), "salt": (Fraction(9, 2), "tsp")}
    assert [(jar.size, jar.count) for jar in plan.jars] == [("pint", 9)]
    assert (len(plan.loads), plan.pots, plan.leftover_ml) == (1, 1, 0)
    assert "part-pot" not in codes(plan)
    shown = plan_as_dict(plan)
    assert shown["lines"][1]["per_jar"] == [
        {"jar": "pint", "amount": 0.5, "amount_high": None, "unit": "tsp", "text": "1/2 tsp"}
    ]
    assert shown["printed_load"]["count"] == 9
    assert shown["yield"]["filled_basis"] == "canner-load"


@pytest.mark.parametrize(
    ("wanted", "pounds", "loads"),
    [
        ({"jars": 7, "jar": "quart"}, "14", [7]),
        ({"pots": 2, "jar": "pint"}, "18", [9, 9]),
        ({"jars": 11, "jar": "pint"}, "11", [9, 2]),
        ({"jars": 4, "jar": "pint"}, "4", [4]),
        ({"fruit": parse_amount("12 1/2 lb"), "jar": "pint"}, "12", [9, 3]),
        ({"jars": 12, "jar": "half-pint"}, "6", [12]),  # a half-pint is half of a pint
        ({"jars": 18, "jar": "pint", "capacity": capacity("two layers", "its card", pint=18)}, "18", [18]),
        ({"jars": 7, "jar": "pint", "capacity": capacity("small", "its card", pint=4)}, "7", [4, 3]),
    ],
)
def test_jars_are_planned_one_by_one_and_loads_as_full_as_the_canner(wanted, pounds, loads):
    plan = beans(**wanted)
    assert plan.ok
    assert amounts(plan)["green beans"][0] == Fraction(pounds)
    assert [sum(jar.count for jar in load.jars) for load in plan.loads] == loads


def test_without_a_printed_load_nothing_changes():
    plan = beans(snap_beans(), jars=9, jar="pint")
    assert amounts(plan)["green beans"][0] == 10
    assert plan.printed_load is None
    unread = put(detailed_beans(), "loads.1.seen", "memory")
    del unread["packing_liquids"], unread["loads"][0]
    assert beans(unread, jars=9, jar="pint").printed_load is None


def test_empties_of_one_size_bound_the_jars():
    plan = beans(jars=9, jar="pint", empties={"pint": 6})
    assert [(jar.size, jar.count) for jar in plan.jars] == [("pint", 6)]
    assert "empties-short" in codes(plan)


def test_only_the_steps_of_its_own_pack_and_jars_are_the_plans():
    hot, raw = (beans(jars=9, jar="pint", pack=pack) for pack in (Pack.HOT, Pack.RAW))
    assert [step.action for step in hot.steps] == ["", "cut", "boil"]
    assert [step.action for step in raw.steps] == ["", "cut", "pack"]
    assert plan_as_dict(hot)["steps"][2]["minutes"] == [5, 5]
    quarts = beans(jars=7, jar="quart")
    assert quarts.steps[-1].action == "soak"
    # Nobody read its hours: the sentence stands without them, and says where to look.
    assert plan_as_dict(quarts)["steps"][-1]["text"] == "An invented wait of (see the source)."
    assert any("An invented wait" in str(text) for text in quarts.look_up)


def test_a_dispute_about_a_figure_that_is_used_is_told():
    plan = beans(jars=9, jar="pint")
    assert [caution.message for caution in plan.cautions if caution.code == "source-dispute"] == [
        "Publications differ here: an invented one"
    ]
    assert "source-dispute" not in codes(beans(jars=7, jar="quart"))


LEMON: dict[str, Any] = {"item": "bottled lemon juice", "role": "acid", "unit": "tbsp"}
CITRIC: dict[str, Any] = {
    "instead_of": ["bottled lemon juice"],
    "item": "citric acid",
    "role": "acid",
    "unit": "tsp",
    "seen": "seen-twice",
}


def tomatoes(**changes: Any) -> dict[str, Any]:
    return {
        **snap_beans(slug="tomatoes-in-water", kind="fruit", produce=["tomatoes"], source=SOURCE),
        "ingredients": [
            {"item": "tomatoes", "prep": "whole", "role": "fruit", "amount": "21", "unit": "lb"},
            {**LEMON, "amount": "14"},
        ],
        "loads": [{"jar": "pint", "count": 9, "item": "tomatoes", "amount": "13", "unit": "lb", "seen": "seen-twice"}],
        "per_jar": [
            {**LEMON, "jar": "quart", "amount": "2", "seen": "seen-twice"},
            {**LEMON, "jar": "pint", "amount": "1", "seen": "seen-twice"},
        ],
        "alternatives": [
            {**CITRIC, "jar": "quart", "amount": "1/2"},
            {**CITRIC, "jar": "pint", "amount": "1/4"},
            {**CITRIC, "item": "vinegar", "unit": "tbsp", "jar": "quart", "amount": "4", "seen": "memory"},
        ],
        **changes,
    }


def test_acid_is_measured_by_the_jar_and_its_alternative_in_its_place():
    plan = beans(tomatoes(), jars=9, jar="pint")
    assert amounts(plan) == {"tomatoes": (13, "lb"), "bottled lemon juice": (9, "tbsp")}
    other = beans(tomatoes(), jars=9, jar="pint", instead=("Citric acid",))
    assert amounts(other) == {"tomatoes": (13, "lb"), "citric acid": (Fraction(9, 4), "tsp")}
    assert [each["name"] for each in plan_as_dict(other)["choices"] if each["chosen"]] == ["citric acid"]
    # In quarts there is no printed load, and the acid goes by the jar all the same.
    assert amounts(beans(tomatoes(), jars=7, jar="quart"))["bottled lemon juice"][0] == 14
    for wish, code in (("vinegar", "choice-unknown"), ("lime", "choice-unknown")):
        refused = beans(tomatoes(), jars=9, jar="pint", instead=(wish,))
        assert [refusal.code for refusal in refused.refusals] == [code]


def test_an_acid_that_is_cooked_with_the_food_follows_the_heavier_load():
    pickle = tomatoes()
    del pickle["per_jar"], pickle["alternatives"]
    pickle["loads"][0]["amount"] = "18"  # more than the pot has for its volume
    assert amounts(beans(pickle, jars=9, jar="pint"))["bottled lemon juice"][0] == 12


def fruit(**changes: Any) -> dict[str, Any]:
    return {
        **snap_beans(slug="fruit-in-syrup", kind="fruit", produce=["peaches", "nectarines"], method="boiling-water"),
        "ingredients": [
            {"item": "peaches", "prep": "halved", "role": "fruit", "amount": "17 1/2", "unit": "lb"},
            {"item": "water", "prep": "for medium syrup", "role": "liquid", "amount": "8 1/4", "unit": "cup"},
            {"item": "sugar", "prep": "for medium syrup", "role": "sugar", "amount": "3 3/4", "unit": "cup"},
        ],
        "loads": [{"jar": "pint", "count": 9, "item": "peaches", "amount": "11", "unit": "lb", "seen": "seen-twice"}],
        "packing_liquids": {
            "syrups": ["very-light", "light", "medium"],
            "others": ["apple juice"],
            "usual": "medium",
            "seen": "seen-twice",
        },
        "process": [
            {
                "method": "boiling-water",
                "pack": "hot",
                "jar": "pint",
                "minutes": [[1000, 20], [3000, 25], [6000, 30], ["above", 46]],
                "seen": "seen-twice",
                "only_for": ["peaches"],
                "condition": "ripe fruit only",
            }
        ],
        **changes,
    }


def peaches(document: dict[str, Any] | None = None, **wanted: Any) -> Plan:
    return beans(document or fruit(), **{"canner": None, "food": "peaches", "jars": 9, "jar": "pint", **wanted})


@pytest.mark.parametrize(
    ("liquid", "water", "sugar"),
    [
        (None, "5 1/4", "2 1/4"),
        ("very light", "6 1/2", "3/4"),
        ("Light syrup", "5 3/4", "1 1/2"),
        ("apple juice", "", ""),
    ],
)
def test_the_syrup_of_the_plan_is_as_printed_for_its_load(liquid, water, sugar):
    plan = peaches(liquid=liquid)
    expected = {"peaches": parse_amount("11 lb").value}
    if water:
        expected |= {"water": parse_amount(f"{water} cups").value, "sugar": parse_amount(f"{sugar} cups").value}
    assert {item: amount for item, (amount, _unit) in amounts(plan).items()} == expected
    assert ("liquid-open" in codes(plan)) == (liquid is None)
    assert plan_as_dict(plan)["packing_liquid"]["name"] == (liquid or "medium").lower().removesuffix(" syrup").replace(
        "very light", "very-light"
    )


def test_a_liquid_that_the_source_does_not_allow_is_refused():
    assert [refusal.code for refusal in peaches(liquid="heavy").refusals] == ["liquid-not-allowed"]
    assert [refusal.code for refusal in beans(jars=9, jar="pint", liquid="light").refusals] == ["liquid-not-allowed"]


def test_a_row_for_some_foods_is_for_no_other_and_for_none_unnamed():
    assert peaches().ok
    assert "row-condition" in codes(peaches())
    for food, code in (("nectarines", "food-not-tested"), (None, "food-unnamed"), ("beans", "food-unknown")):
        plan = peaches(food=food)
        assert code in [refusal.code for refusal in plan.refusals]
        assert plan.process is None
    with_raw = fruit()
    with_raw["process"].append({**with_raw["process"][0], "pack": "raw"})
    del with_raw["process"][1]["only_for"]
    assert [one.code for one in peaches(with_raw, food=None).refusals] == ["food-unnamed"]
    assert peaches(with_raw, food=None, pack=Pack.RAW).ok
    everybody = fruit()
    del everybody["process"][0]["only_for"]
    assert peaches(everybody, food=None).ok


def test_a_steam_canner_has_the_boiling_water_time_up_to_45_minutes():
    steam, water = peaches(canner=Canner.STEAM), peaches()
    assert steam.process is not None
    assert water.process is not None
    assert steam.process == replace(water.process, in_steam=True)
    assert plan_as_dict(steam)["process"]["canner"] == "steam"
    assert "steam-canner" in codes(steam)
    assert "water-over-jars" not in codes(steam)
    assert steam.day is not None
    high = peaches(canner=Canner.STEAM, altitude=Altitude(Fraction(2500)))
    assert [refusal.code for refusal in high.refusals] == ["steam-too-long"]
    assert [refusal.code for refusal in beans(jars=9, jar="pint", canner=Canner.STEAM).refusals] == ["pressure-only"]


def test_other_jars_have_their_own_printed_yield():
    jam = strawberry_jam(other_yields=[{"jar": "pint", "low": "3", "high": "4", "seen": "seen-once"}])
    request = PlanRequest(altitude=LOW, jars=6, jar="pint")
    plan = plan_batch(recipe_from_document(jam), request)
    assert (plan.pots, [(jar.size, jar.count) for jar in plan.jars]) == (2, [("pint", 6)])
