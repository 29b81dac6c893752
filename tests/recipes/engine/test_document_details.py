"""The second edition of the library's format: its parts are read strictly, round-trip, and the first still loads."""

from __future__ import annotations

import json
from fractions import Fraction
from typing import Any

import pytest

from recipes.engine.document import (
    DocumentError,
    entries_from_library,
    process_table_from_document,
    process_table_to_document,
    recipe_from_document,
    recipe_to_document,
)
from recipes.engine.terms import Method, Pack, Range, RecipeStep, Seen, Strength, Use
from tests.recipes.engine.samples import apricot_table, detailed_beans, put, snap_beans

LEMON = {"item": "bottled lemon juice", "role": "acid", "amount": "14", "unit": "tbsp"}
LEMON_A_QUART = {**LEMON, "jar": "quart", "amount": "2", "seen": "seen-twice"}
LEMON_A_PINT = {**LEMON, "jar": "pint", "amount": "1", "seen": "seen-twice"}


def test_every_part_is_read_and_round_trips():
    recipe = recipe_from_document(detailed_beans())
    assert recipe_from_document(json.loads(json.dumps(recipe_to_document(recipe)))) == recipe
    assert recipe.steps[0] == RecipeStep("Wash the jars and keep them hot.")
    assert (recipe.steps[2].minutes, recipe.steps[2].pack) == (Range(Fraction(5), Fraction(5)), Pack.HOT)
    assert str(recipe.steps[2]) == "Cover the beans with boiling water, boil 5 minutes and fill the jars loosely."
    assert str(recipe.steps[1]) == "Leave the beans whole or cut them into pieces. (1 inch)"
    assert str(recipe.steps[4]) == "An invented wait of (see the source)."
    assert [(load.jar, load.count, load.amount) for load in recipe.loads] == [("quart", 7, 14), ("pint", 9, 9)]
    assert recipe.loads[1].source is not None
    assert recipe.loads[1].source.place == "Guide 4"
    assert recipe.per_jar[1].amount == Fraction(1, 2)
    assert recipe.alternatives[0].choice == recipe.alternatives[0].item
    assert recipe.packing_liquids is not None
    assert recipe.packing_liquids.names == ("very-light", "light", "water")
    assert recipe.packing_liquids.syrups == (Strength.VERY_LIGHT, Strength.LIGHT)
    assert recipe.low_temperature is not None
    assert recipe.low_temperature.minutes == 30
    table = apricot_table(
        produce=["apricots"],
        cautions=["Mind the pits."],
        **{name: detailed_beans()[name] for name in ("steps", "per_jar", "packing_liquids")},
        loads=[{"jar": "quart", "count": 7, "amount": "16", "unit": "lb", "seen": "seen-twice"}],
    )
    table["rows"][0] |= {"only_for": ["apricots"], "condition": "ripe", "dispute": "another prints 25"}
    read = process_table_from_document(table)
    assert read.rows[0].only_for == ("apricots",)
    assert process_table_from_document(json.loads(json.dumps(process_table_to_document(read)))) == read


def test_what_the_first_edition_had_is_written_as_before():
    document = snap_beans()
    assert recipe_to_document(recipe_from_document(document))["steps"] == document["steps"]
    assert recipe_to_document(recipe_from_document(document)).keys() == document.keys()


def test_a_step_is_for_its_own_pack_method_and_jars():
    hot, raw, quarts = (recipe_from_document(detailed_beans()).steps[i] for i in (2, 3, 4))
    assert hot.is_for(pack=Pack.HOT, method=Method.PRESSURE, jars=["pint"])
    assert not raw.is_for(pack=Pack.HOT, method=Method.PRESSURE, jars=["pint"])
    assert not quarts.is_for(pack=Pack.HOT, method=Method.PRESSURE, jars=["pint"])
    assert quarts.is_for(pack=Pack.HOT, method=Method.PRESSURE, jars=["quart", "pint"])
    assert all(step.is_for(pack=None, method=None, jars=()) for step in (hot, raw, quarts))


def test_a_yield_that_nobody_prints_and_a_soak_round_trip():
    document = detailed_beans(stated_yield={"jar": "quart", "none_printed": True, "note": "as much as there is"})
    del document["other_yields"]
    document["ingredients"].append({"item": "salt", "role": "salt", "amount": "1", "unit": "cup", "use": "soak"})
    recipe = recipe_from_document(document)
    assert not recipe.stated_yield.is_printed
    assert not recipe.stated_yield.seen.is_seen
    assert recipe.ingredients[-1].use is Use.SOAK
    assert recipe_from_document(recipe_to_document(recipe)) == recipe


@pytest.mark.parametrize(
    ("path", "value", "field"),
    [
        ("steps.2.action", "fling", "steps[2].action"),
        ("steps.2.minutes", [6, 5], "steps[2].minutes"),
        ("steps.2.minutes", 0, "steps[2].minutes"),
        ("steps.2.minutes", 5.5, "steps[2].minutes"),
        ("steps.2.minutes", [1, 2, 3], "steps[2].minutes"),
        ("steps.2.text", "Boil {hours}.", "steps[2].text"),
        ("steps.2.text", "Boil {long}.", "steps[2].text"),
        ("steps.2.text", "Boil {minutes.", "steps[2].text"),
        ("steps.2.pack", "not-stated", "steps[2].pack"),
        ("steps.2.hours", 1, "steps[2].hours"),
        ("steps.2.action", "process", "steps[2].minutes"),
        ("steps.2.temperature_f", 6000, "steps[2].temperature_f"),
        ("steps.4.jars", ["quart", "quart"], "steps[4].jars[1]"),
        ("steps.4.jars", ["bucket"], "steps[4].jars[0]"),
        ("steps.0", 7, "steps[0]"),
        ("loads.0.count", 0, "loads[0].count"),
        ("loads.0.item", "carrots", "loads[0].item"),
        ("loads.0.amount", "15", "loads[0].amount"),
        ("loads.1.jar", "quart", "loads[1]"),
        ("loads.1.weight", "9", "loads[1].weight"),
        ("per_jar.1.jar", "quart", "per_jar[1]"),
        ("per_jar.0.role", "acid", "per_jar[0].optional"),
        ("per_jar.0.unit", "handful", "per_jar[0].unit"),
        ("alternatives.0.instead_of", ["pepper"], "alternatives[0].instead_of[0]"),
        ("alternatives.0.instead_of", [], "alternatives[0].instead_of"),
        ("alternatives.0.amount_high", "1/8", "alternatives[0].amount_high"),
        ("alternatives.0.role", "low-acid vegetable", "alternatives[0].role"),
        ("other_yields.0.jar", "quart", "other_yields[0].jar"),
        ("other_yields.0.high", "13", "other_yields[0].high"),
        ("packing_liquids.syrups", ["sticky"], "packing_liquids.syrups[0]"),
        ("packing_liquids.usual", "heavy", "packing_liquids.usual"),
        ("packing_liquids", {"seen": "seen-once"}, "packing_liquids.syrups"),
        ("low_temperature.water_f", ["120", "125"], "low_temperature.water_f"),
        ("low_temperature.minutes", "30", "low_temperature.minutes"),
        ("process.0.only_for", ["peas"], "process[0].only_for[0]"),
        ("process.0.dispute", "", "process[0].dispute"),
        ("ingredients.1.use", "bath", "ingredients[1].use"),
    ],
)
def test_any_mistake_is_named_with_its_field(path: str, value: Any, field: str):
    with pytest.raises(DocumentError) as caught:
        recipe_from_document(put(detailed_beans(), path, value))
    assert field in [problem.field for problem in caught.value.problems]


def test_a_figure_says_how_far_it_was_seen():
    document = detailed_beans()
    del document["steps"][2]["seen"]
    with pytest.raises(DocumentError, match=r"steps\[2\]\.seen"):
        recipe_from_document(document)


def tomatoes(**changes: Any) -> dict[str, Any]:
    document = snap_beans(
        ingredients=[{"item": "tomatoes", "prep": "whole", "role": "fruit", "amount": "21", "unit": "lb"}, dict(LEMON)],
        kind="fruit",
        produce=["tomatoes"],
        per_jar=[dict(LEMON_A_QUART), dict(LEMON_A_PINT)],
    )
    return {**document, **changes}


CITRIC = {
    "instead_of": ["bottled lemon juice"],
    "item": "citric acid",
    "role": "acid",
    "jar": "quart",
    "amount": "1/2",
    "unit": "tsp",
    "seen": "seen-twice",
}


def test_acid_in_the_jars_is_no_less_than_in_the_pot_and_gives_way_to_acid_alone():
    assert recipe_from_document(tomatoes(alternatives=[dict(CITRIC)])).is_tested
    for changes, field in (
        ({"per_jar": [LEMON_A_QUART | {"amount": "1"}]}, r"per_jar\[0\]\.amount"),
        ({"per_jar": [LEMON_A_QUART, LEMON_A_PINT | {"amount": "3"}]}, r"per_jar\[0\]\.amount"),
        ({"alternatives": [CITRIC | {"role": "spice"}]}, r"alternatives\[0\]\.role"),
        ({"alternatives": [CITRIC | {"optional": True}]}, r"alternatives\[0\]\.optional"),
        ({"per_jar": [LEMON_A_QUART | {"item": "vinegar"}]}, r"per_jar\[0\]\.item"),
    ):
        with pytest.raises(DocumentError, match=field):
            recipe_from_document(tomatoes(**changes))
    remembered = tomatoes(per_jar=[LEMON_A_QUART | {"seen": "memory"}])
    assert not recipe_from_document(remembered).is_tested


def test_acid_that_is_poured_off_is_none():
    soaked = tomatoes(method="boiling-water", per_jar=[])
    soaked["ingredients"][1]["use"] = "soak"
    with pytest.raises(DocumentError, match="ACID-ADDED"):
        recipe_from_document(soaked)


def test_both_editions_load_and_the_first_knows_nothing_newer():
    first = {"format": "kettlehall-library-1", "recipe": [snap_beans()], "process_table": [apricot_table()]}
    assert [len(found) for found in entries_from_library(first)] == [1, 1]
    second = {"format": "kettlehall-library-2", "recipe": [detailed_beans(), snap_beans(slug="plain-beans")]}
    assert [recipe.slug for recipe in entries_from_library(second)[0]] == ["snap-beans", "plain-beans"]
    mixed = {"format": "kettlehall-library-1", "recipe": [detailed_beans()], "process_table": [apricot_table(loads=[])]}
    with pytest.raises(DocumentError) as caught:
        entries_from_library(mixed)
    fields = {(problem.entry, problem.field) for problem in caught.value.problems}
    of_recipe = {field for entry, field in fields if entry == 'recipe "snap-beans"'}
    assert {"loads", "per_jar", "alternatives", "other_yields", "packing_liquids", "low_temperature"} <= of_recipe
    assert {"steps[1]", "steps[2]"} <= of_recipe
    assert ('process_table "apricots"', "loads") in fields


def test_a_row_with_a_dispute_is_the_safer_of_two_that_were_read():
    document = put(detailed_beans(), "process.0.seen", Seen.DISPUTED.value)
    with pytest.raises(DocumentError, match=r"process\[0\]\.dispute"):
        recipe_from_document(put(document, "process.0.dispute", "another prints 25"))
