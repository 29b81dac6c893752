"""Safe and unsafe changes as extension services and USDA judge them, each with its source beside it in the CSV.

The verdicts were written down from those pages before the rules were run on them; a row that fails is a fault in
the rules or a row to be argued with its source, never one to be turned to fit.
"""

from __future__ import annotations

from collections import Counter
from functools import cache

import pytest

from recipes.engine.changes import CHANGE_RULES, Ruling, check_change
from recipes.engine.document import recipe_from_document
from recipes.engine.terms import TestedRecipe
from tests.published.library import figures, recipes

ROWS = figures("changes_battery")

# The amounts are those of the USDA guide (rule DILL-SALT: 8 cups water, 1/4 cup vinegar, 4 lb cucumbers to 1/2 cup
# salt); the process row only makes the document whole.
FERMENTED = {
    "slug": "fermented-dills",
    "title": "Dill pickles from the crock",
    "kind": "pickle",
    "method": "boiling-water",
    "produce": ["cucumbers"],
    "pectin": "",
    "headspace_in": "1/2",
    "amounts_seen": "seen-twice",
    "process_seen": "seen-once",
    "source": {"title": "USDA Complete Guide to Home Canning", "edition": "2015", "place": "Guide 6"},
    "ingredients": [
        {"item": "pickling cucumbers", "role": "low-acid vegetable", "amount": "4", "unit": "lb"},
        {"item": "canning salt", "role": "salt", "amount": "1/2", "unit": "cup"},
        {"item": "vinegar", "prep": "5 percent", "role": "acid", "amount": "1/4", "unit": "cup"},
        {"item": "water", "role": "liquid", "amount": "8", "unit": "cup"},
    ],
    "stated_yield": {"jar": "pint", "low": "4", "high": "4", "seen": "seen-once"},
    "steps": ["Put the cucumbers in a crock, cover them with the brine and let them stand for three to four weeks."],
    "process": [
        {"method": "boiling-water", "pack": "raw", "jar": "pint", "minutes": [["above", 20]], "seen": "seen-once"},
    ],
}


@cache
def battery_recipes() -> dict[str, TestedRecipe]:
    return {**recipes(), "fermented-dills": recipe_from_document(FERMENTED)}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['recipe']}: {row['change']}")
def test_a_change_is_judged_as_its_source_judges_it(row):
    answer = check_change(battery_recipes()[row["recipe"]], row["change"])
    assert (answer.verdict.value, answer.change) == (row["verdict"], row["change"]), f"{answer} against {row['source']}"
    assert all((answer.rule, answer.source, answer.message))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['recipe']}: {row['change']}")
def test_a_refusal_is_for_its_own_reason_and_not_for_want_of_reading(row):
    answer = check_change(battery_recipes()[row["recipe"]], row["change"])
    assert answer.rule not in {"NOT-UNDERSTOOD", "NOT-TESTED", "NOT-IN-RECIPE", "CANNOT-COMPARE"}
    assert answer.rule != "NOT-COVERED" or row["source"].startswith(("no test known", "unknown"))


def test_every_row_has_a_verdict_and_a_source():
    for row in ROWS:
        assert row["verdict"] in set(Ruling), row
        assert row["source"].strip(), row


def test_the_battery_is_large_and_balanced():
    found = Counter(row["verdict"] for row in ROWS)
    allowed = found["fine"] + found["quality"]
    assert len(ROWS) >= 120
    assert 2 / 5 <= allowed / len(ROWS) <= 3 / 5
    assert len({(row["recipe"], row["change"]) for row in ROWS}) == len(ROWS)


def test_the_battery_reaches_many_rules_of_every_verdict():
    told = {check_change(battery_recipes()[row["recipe"]], row["change"]).rule for row in ROWS}
    named = {entry.rule for entry in CHANGE_RULES.values()}
    assert told <= named
    assert len(told) >= 80
