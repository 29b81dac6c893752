"""The library format is read strictly, says all that is wrong, and round-trips."""

from __future__ import annotations

import json
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.engine.document import (
    DocumentError,
    entries_from_library,
    process_table_from_document,
    process_table_to_document,
    recipe_from_document,
    recipe_to_document,
)
from recipes.engine.terms import Method, Pack, Role, Seen
from tests.recipes.engine.samples import apricot_table, put, snap_beans, strawberry_jam


def problems_of(document: Any) -> dict[str, str]:
    with pytest.raises(DocumentError) as caught:
        recipe_from_document(document)
    return {problem.field: problem.message for problem in caught.value.problems}


def test_a_recipe_is_read_with_exact_numbers():
    recipe = recipe_from_document(strawberry_jam(headspace_in="1/4"))
    assert recipe.headspace_in == Fraction(1, 4)
    assert recipe.method is Method.BOILING_WATER
    assert recipe.ingredients[0].role is Role.FRUIT
    assert recipe.process[1].minutes_bands[2].upper_ft is None
    assert recipe.process[1].source == recipe.source
    assert recipe.is_tested


def test_each_document_round_trips_through_json():
    for document in (strawberry_jam(), snap_beans()):
        recipe = recipe_from_document(document)
        again = json.loads(json.dumps(recipe_to_document(recipe)))
        assert recipe_from_document(again) == recipe
    table = process_table_from_document(apricot_table())
    assert process_table_from_document(json.loads(json.dumps(process_table_to_document(table)))) == table


@given(st.fractions(min_value=Fraction(1, 64), max_value=5000, max_denominator=64))
def test_any_amount_round_trips_exactly(amount):
    recipe = recipe_from_document(put(strawberry_jam(), "ingredients.1.amount", str(amount)))
    assert recipe.ingredients[1].amount == amount
    assert recipe_from_document(recipe_to_document(recipe)) == recipe


def test_a_row_may_name_its_own_source_headspace_and_a_pack_not_stated():
    own = {"title": "Another", "edition": "1994", "place": "p. 3"}
    document = put(strawberry_jam(), "process.0.source", own)
    document = put(put(document, "process.0.headspace_in", "1/2"), "process.0.pack", "not-stated")
    recipe = recipe_from_document(document)
    assert recipe.process[0].source.title == "Another"
    assert recipe.process[0].headspace_in == Fraction(1, 2)
    assert recipe.process[0].pack is Pack.NOT_STATED
    assert recipe_from_document(recipe_to_document(recipe)) == recipe


@pytest.mark.parametrize(
    ("path", "value", "field"),
    [
        ("colour", "red", "colour"),
        ("process.0.colour", "red", "process[0].colour"),
        ("ingredients.2.colour", "red", "ingredients[2].colour"),
        ("title", 7, "title"),
        ("title", "  ", "title"),
        ("title", "a\x00b", "title"),
        pytest.param("title", "\ud800", "title", id="a-broken-letter"),
        ("slug", "Plum Jam", "slug"),
        ("method", "oven", "method"),
        ("pectin", "some", "pectin"),
        ("amounts_seen", "yes", "amounts_seen"),
        ("ingredients.0.role", "berry", "ingredients[0].role"),
        ("ingredients.0.unit", "blorp", "ingredients[0].unit"),
        ("ingredients.0.amount", "lots", "ingredients[0].amount"),
        ("ingredients.0.amount", 2.25, "ingredients[0].amount"),
        ("ingredients.0.amount", True, "ingredients[0].amount"),
        ("ingredients.0.amount", "0", "ingredients[0].amount"),
        ("ingredients.0.amount", "-1", "ingredients[0].amount"),
        ("ingredients.0.amount", "1/0", "ingredients[0].amount"),
        ("ingredients.0.amount", "1e9", "ingredients[0].amount"),
        pytest.param("ingredients.0.amount", 1 << 20000, "ingredients[0].amount", id="a-huge-amount"),
        ("ingredients.0.amount_high", "3", "ingredients[0].amount_high"),
        ("ingredients.0.optional", "yes", "ingredients[0].optional"),
        ("ingredients.0.grams_source", "", "ingredients[0].grams_source"),
        ("ingredients", [], "ingredients"),
        ("ingredients.1", "sugar", "ingredients[1]"),
        ("steps", "Crush.", "steps"),
        ("steps.1", 4, "steps[1]"),
        ("stated_yield.jar", "bucket", "stated_yield.jar"),
        ("stated_yield.high", "7", "stated_yield.high"),
        ("source.place", 3, "source.place"),
        ("source", None, "source"),
        ("process.0.jar", "bucket", "process[0].jar"),
        ("process.0.pack", "cold", "process[0].pack"),
        ("process.0.method", "oven", "process[0].method"),
        ("process.0.method", "freezer", "process[0].method"),
        ("process.0.minutes", 10, "process[0].minutes"),
        ("process.0.minutes", [], "process[0].minutes"),
        ("process.0.minutes", [[1000, 5], [6000, 10]], "process[0].minutes"),
        ("process.0.minutes", [[6000, 5], [1000, 10], ["above", 15]], "process[0].minutes[1]"),
        ("process.0.minutes", [[1000, 5], [1000, 10], ["above", 15]], "process[0].minutes[1]"),
        ("process.0.minutes", [["above", 5], [1000, 10], ["above", 15]], "process[0].minutes[0]"),
        ("process.0.minutes", [[1000, 10], [6000, 5], ["above", 15]], "process[0].minutes[1]"),
        ("process.0.minutes", [[1000, 0], ["above", 15]], "process[0].minutes[0]"),
        ("process.0.minutes", [[1000, "not-recommended"], ["above", 15]], "process[0].minutes[0]"),
        ("process.0.minutes", [[1000.5, 5], ["above", 15]], "process[0].minutes[0]"),
        ("process.0.minutes", [[1000], ["above", 15]], "process[0].minutes[0]"),
        ("process.0.dial_psi", [[2000, 11]], "process[0].dial_psi"),
        ("process.1.jar", "half-pint", "process[1]"),
        ("process.0.seen", "maybe", "process[0].seen"),
        ("pot_limits", {"smallest": "2", "source": "x"}, "pot_limits"),
        ("pot_limits", {"smallest": "1/2", "source": "x"}, "pot_limits"),
        ("endpoint_f_above_boiling", "8", "endpoint_f_above_boiling"),
        ("pectin", "none", "pectin"),
    ],
)
def test_a_bad_value_is_named_with_its_field(path, value, field):
    assert field in problems_of(put(strawberry_jam(), path, value))


@pytest.mark.parametrize(
    ("key", "value", "field"),
    [
        ("minutes", [[1000, 20], ["above", 25]], "process[0].minutes"),
        ("minutes", 0, "process[0].minutes"),
        ("minutes", -5, "process[0].minutes"),
        ("minutes", True, "process[0].minutes"),
        pytest.param("minutes", 1 << 20000, "process[0].minutes", id="huge-minutes"),
        ("dial_psi", [[2000, 11], ["above", 12]], "process[0].dial_psi"),
        ("dial_psi", [[2000, 12], [4000, 11]], "process[0].dial_psi[1]"),
        ("dial_psi", [[2000, 200]], "process[0].dial_psi[0]"),
        ("weighted_psi", [[1000, 10]], "process[0].weighted_psi"),
        ("weighted_psi", [[1000, "not-recommended"], ["above", 15]], "process[0].weighted_psi[1]"),
        ("weighted_psi", [["above", "not-recommended"]], "process[0].weighted_psi"),
        ("weighted_psi", "15", "process[0].weighted_psi"),
    ],
)
def test_a_bad_pressure_row_is_named_with_its_field(key, value, field):
    assert field in problems_of(put(snap_beans(), f"process.0.{key}", value))


def test_a_pressure_row_without_any_gauge_is_refused():
    document = snap_beans()
    del document["process"][0]["dial_psi"], document["process"][0]["weighted_psi"]
    assert "process[0].dial_psi" in problems_of(document)


def test_all_problems_are_found_in_one_reading():
    document = strawberry_jam(title=3, colour="red")
    document["ingredients"][0]["unit"] = "blorp"
    document["process"][1]["minutes"] = "long"
    del document["steps"]
    assert set(problems_of(document)) == {
        "title",
        "colour",
        "ingredients[0].unit",
        "process[1].minutes",
        "steps",
    }


@pytest.mark.parametrize("field", ["slug", "title", "source", "process", "process_seen", "stated_yield", "produce"])
def test_a_missing_field_is_named(field):
    document = strawberry_jam()
    del document[field]
    assert field in problems_of(document)


def test_a_low_acid_vegetable_in_boiling_water_without_acid_is_refused_by_rule():
    document = snap_beans(method="boiling-water", kind="pickle")
    document["process"] = strawberry_jam()["process"]
    found = problems_of(document)
    assert "LOWACID-METHOD" in found["method"]
    assert "LOWACID-METHOD" in found["process[0].method"]


def test_the_same_vegetable_with_vinegar_is_a_pickle():
    document = snap_beans(method="boiling-water", kind="pickle", process=strawberry_jam()["process"])
    vinegar = {"item": "vinegar", "prep": "5 percent", "role": "acid", "amount": "6", "unit": "cup"}
    document["ingredients"].append(vinegar)
    assert recipe_from_document(document).method is Method.BOILING_WATER


def test_a_ferment_makes_its_own_acid_and_needs_its_salt():
    # Sauerkraut has a boiling-water process in USDA Guide 6, and no line of acid.
    document = snap_beans(method="boiling-water", kind="ferment", process=strawberry_jam()["process"])
    document["ingredients"] = [line for line in document["ingredients"] if line["role"] != "salt"]
    assert "LOWACID-METHOD" in problems_of(document)["method"]
    salt = {"item": "salt, canning", "prep": "", "role": "salt", "amount": "3", "unit": "tbsp"}
    document["ingredients"].append(salt)
    assert recipe_from_document(document).method is Method.BOILING_WATER


def test_a_pressure_recipe_for_vegetables_cannot_slip_in_a_boiling_water_row():
    document = snap_beans()
    document["process"].append(strawberry_jam()["process"][1])
    assert "LOWACID-METHOD" in problems_of(document)["process[4].method"]


def test_tomatoes_in_boiling_water_without_acid_are_refused_by_rule():
    document = put(strawberry_jam(), "ingredients.0.item", "green tomatoes")
    assert "ACID-ADDED" in problems_of(document)["method"]


def test_another_mistake_does_not_hide_the_acid_rule():
    document = snap_beans(method="boiling-water", process=strawberry_jam()["process"])
    document["ingredients"][0]["unit"] = "blorp"
    found = problems_of(document)
    assert "LOWACID-METHOD" in found["method"]
    assert "ingredients[0].unit" in found


def test_a_freezer_recipe_has_no_process():
    document = strawberry_jam(method="freezer")
    assert "process" in problems_of(document)
    del document["process"], document["process_seen"]
    assert recipe_from_document(document).process_seen is None


def test_a_recipe_from_memory_is_read_but_is_not_tested():
    assert not recipe_from_document(strawberry_jam(amounts_seen="memory")).is_tested
    assert recipe_from_document(strawberry_jam(process_seen="disputed")).process_seen is Seen.DISPUTED


def library(**changes: Any) -> dict[str, Any]:
    return {
        "format": "kettlehall-library-1",
        "recipe": [strawberry_jam(), snap_beans()],
        "process_table": [apricot_table()],
        **changes,
    }


def test_a_library_file_gives_its_recipes_and_tables():
    recipes, tables = entries_from_library(library())
    assert [recipe.slug for recipe in recipes] == ["strawberry-jam-liquid", "snap-beans"]
    assert tables[0].rows[0].method is Method.BOILING_WATER


def test_problems_in_a_library_name_the_entry_and_the_field():
    document = library(recipe=[strawberry_jam(kind=4), snap_beans(slug=None), 5])
    document["process_table"][0]["rows"][0]["jar"] = "bucket"
    with pytest.raises(DocumentError) as caught:
        entries_from_library(document)
    places = {(problem.entry, problem.field) for problem in caught.value.problems}
    assert places == {
        ('recipe "strawberry-jam-liquid"', "kind"),
        ("recipe[1]", "slug"),
        ("recipe[2]", ""),
        ('process_table "apricots"', "rows[0].jar"),
    }


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"format": "other"}, "format"),
        ({"extra": 1}, "extra"),
        ({"recipe": {}}, "recipe"),
        ({"recipe": [], "process_table": []}, "recipe"),
        ({"recipe": [strawberry_jam(), strawberry_jam()]}, "slug"),
    ],
)
def test_a_malformed_library_is_refused(changes, field):
    with pytest.raises(DocumentError) as caught:
        entries_from_library(library(**changes))
    assert field in {problem.field for problem in caught.value.problems}


def test_a_table_row_of_another_method_is_refused():
    document = apricot_table()
    document["rows"][0]["method"] = "pressure"
    with pytest.raises(DocumentError, match=r"rows\[0\]\.method"):
        process_table_from_document(document)
