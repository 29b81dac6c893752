"""The engine's household weights and solids against the published tables that the site also shows."""

from __future__ import annotations

import re

import pytest

from recipes.engine import mass_balance
from tests.published.library import foods

PRINTED = [(food, form, grams, source) for food, form, grams, _, source in mass_balance._PRINTED]
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


@pytest.mark.parametrize(("food", "brix"), [(food, brix) for food, brix, why in mass_balance._FRUIT if "CFR" in why])
def test_a_fruit_has_the_legal_degrees_brix(food: str, brix: float):
    word = {"American grape": "grapes, Concord", "sour cherry": "cherries, sour", "sweet cherry": "cherries, sweet"}
    stem = word.get(food, food.rstrip("y"))
    rows = [row for row in foods("composition") if row["item"].startswith(stem) or f", {stem}" in row["item"]]
    assert brix in {float(row["soluble_solids_brix_typical"] or "nan") for row in rows}
