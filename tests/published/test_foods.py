"""The engine's household weights and solids against the published tables that the site also shows."""

from __future__ import annotations

import re

import pytest

from recipes.engine import mass_balance
from recipes.engine.data import rows
from tests.published.library import foods

PRINTED = [
    (row["food"], row["form"], float(row["grams"]), row["source"]) for row in rows("cups.csv") if row["measured"]
]
LEGAL = [(row["food"], float(row["brix"])) for row in rows("solids.csv") if "21 CFR" in row["source"]]
CUPS = [(float(row["g_per_cup"]), row["source"]) for row in foods("measures")]
BRIX = {
    float(row["soluble_solids_brix_typical"])
    for row in foods("composition")
    if row["soluble_solids_brix_typical"] and "21 CFR 101.30" in row["source"]
}


@pytest.mark.parametrize(("food", "form", "grams", "source"), PRINTED)
def test_a_printed_cup_is_the_one_in_the_table(food: str, form: str, grams: float, source: str):
    numbers = re.findall(r"[0-9]{5}", source)
    assert numbers, f"{food}, {form}: no NDB number beside it"
    beside = {cup for cup, where in CUPS if any(number in where for number in numbers)}
    assert grams in beside


@pytest.mark.parametrize(("food", "brix"), LEGAL)
def test_a_fruit_has_the_legal_degrees_brix(food: str, brix: float):
    word = {"American grape": "grapes, Concord", "sour cherry": "cherries, sour", "sweet cherry": "cherries, sweet"}
    stem = word.get(food, food.rstrip("y"))
    rows = [row for row in foods("composition") if row["item"].startswith(stem) or f", {stem}" in row["item"]]
    assert brix in {float(row["soluble_solids_brix_typical"] or "nan") for row in rows}


def test_fresh_food_has_the_water_that_is_printed_for_it():
    printed = {row["item"]: row for row in foods("composition")}
    for row in rows("water.csv"):
        number, _comma, item = row["source"].removeprefix("USDA SR26 ").partition(", ")
        assert row["water_pct"] == printed[item]["water_pct"], row["food"]
        assert number in printed[item]["source"]


def test_as_many_figures_are_held_against_print_as_ever():
    assert (len(PRINTED), len(LEGAL)) == (83, 36)


@pytest.mark.parametrize("name", ["solids.csv", "cups.csv", "apiece.csv", "stoves.csv", "rules.csv", "water.csv"])
def test_every_row_names_its_source_and_none_stands_twice(name: str):
    table = list(rows(name))
    assert all(row["source"].strip() for row in table)
    named = [tuple(row[key] for key in ("food", "form", "stove", "name") if key in row) for row in table]
    assert len(named) == len(set(named))


def test_a_range_holds_its_best_figure_and_an_estimate_has_a_range_of_its_own():
    for row in [*rows("solids.csv"), *rows("cups.csv"), *rows("apiece.csv")]:
        best = float(row.get("grams") or row["brix"])
        assert (row["low"] == "") == (row["high"] == "")
        assert row["low"] == "" or float(row["low"]) <= best <= float(row["high"])
    assert all(row["low"] for row in rows("cups.csv") if row["source"].startswith("estimate"))
    assert {row["measured"] for row in rows("cups.csv")} == {*mass_balance.MEASURED, ""}


def test_every_food_that_a_word_names_is_in_a_table():
    known = {row["food"] for name in ("solids.csv", "cups.csv", "apiece.csv") for row in rows(name)}
    assert {row["food"] for row in rows("food_names.csv")} <= known
