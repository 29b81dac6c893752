"""The library file by file against a second, bare copy of the published numbers kept beside this test.

The copies hold numbers only: recipe_amounts.csv, recipe_processes.csv, recipe_yields.csv and process_rows.csv.
They were not made from the library, so a slip of typing in either is caught here.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from recipes.engine.document import entries_from_library
from tests.published.library import FILES, documents, exact, figures, raw_recipes, recipes

HELD_BACK = {
    "chile-salsa-ii",
    "dilly-beans-setp",
    "salsa-paste-tomatoes",
    "sauerkraut",
    "tomato-taco-sauce",
}

AMOUNTS_READ_SINCE = {"citrus-marmalade-plain", "peach-jam-powdered", "peach-orange-marmalade-plain"}

# Read in print after the first gathering, or replaced by a published table that was (the recipe's note says so).
PROCESS_READ_SINCE = {
    "applesauce",
    "blueberry-pie-filling",
    "okra",
    "potatoes-white",
    "sweet-pepper-relish",
    "tomato-juice",
}

# Read in print after the first gathering on the page of the recipe itself, which its source names.
PROCESS_ON_THE_RECIPES_PAGE = {"pickled-asparagus", "pumpkin-cubed", "spicy-cranberry-salsa", "sweet-gherkins"}


def bands_text(bands: Any) -> str:
    return " ".join(f"{height}:{number}" for height, number in bands) if isinstance(bands, list) else str(bands)


def row_figures(row: dict[str, Any], method: str) -> tuple[str, ...]:
    pressures = (bands_text(row.get(key, [])) for key in ("dial_psi", "weighted_psi"))
    return (method, row["pack"], row["jar"], bands_text(row["minutes"]), *pressures)


def table_rows() -> Iterator[tuple[str, ...]]:
    for document in documents().values():
        for table in document.get("process_table", []):
            for row in table["rows"]:
                headspace = str(exact(row.get("headspace_in", table["headspace_in"])))
                figure = row_figures(row, table["method"])
                yield (table["food"], table.get("variant", ""), *figure, headspace, row["seen"])


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_every_library_file_is_read_without_a_complaint(path: Path) -> None:
    found, tables = entries_from_library(tomllib.loads(path.read_text(encoding="utf-8")))

    assert found or tables


def test_no_slug_is_used_twice_in_the_whole_library() -> None:
    slugs = Counter(e["slug"] for document in documents().values() for e in document.get("recipe", []))

    assert [slug for slug, count in slugs.items() if count > 1] == []
    assert set(slugs) == {row["slug"] for row in figures("recipe_yields")}


def test_every_ingredient_line_has_the_published_amount() -> None:
    found = {
        (
            slug,
            str(number),
            line["item"],
            exact(line["amount"]),
            line.get("amount_high"),
            line["unit"],
            line.get("optional"),
        )
        for slug, recipe in raw_recipes().items()
        for number, line in enumerate(recipe["ingredients"], 1)
    }
    found = {(*key[:4], key[4] and exact(key[4]), key[5], key[6] is True) for key in found}
    printed = {
        (
            row["slug"],
            row["line"],
            row["item"],
            exact(row["amount"]),
            exact(row["amount_high"]) if row["amount_high"] else None,
            row["unit"],
            row["optional"] == "yes",
        )
        for row in figures("recipe_amounts")
    }

    assert found == printed


def test_every_yield_headspace_and_end_of_cooking_is_the_published_one() -> None:
    for row in figures("recipe_yields"):
        recipe = raw_recipes()[row["slug"]]
        stated = recipe["stated_yield"]
        printed = (stated["jar"], stated.get("low", ""), stated.get("high", ""))
        assert printed == (row["jar"], row["low"], row["high"]), row["slug"]
        assert recipe["method"] == row["method"], row["slug"]
        assert exact(recipe["headspace_in"]) == exact(row["headspace_in"]), row["slug"]
        assert recipe.get("hard_boil", {}).get("minutes", "") == row["hard_boil_minutes"], row["slug"]
        assert recipe.get("endpoint_f_above_boiling", "") == row["endpoint_f"], row["slug"]
        if row["load_lb"]:
            assert exact(recipe["ingredients"][0]["amount"]) == Fraction(row["load_lb"]), row["slug"]


def test_every_process_row_of_a_recipe_has_the_published_minutes_and_pressures() -> None:
    found = Counter(
        (slug, *row_figures(row, row["method"]))
        for slug, recipe in raw_recipes().items()
        for row in recipe.get("process", [])
    )
    printed = Counter(tuple(row.values()) for row in figures("recipe_processes"))

    assert found == printed


def test_the_process_tables_hold_every_published_row_that_was_read_and_no_other() -> None:
    columns = ("food", "variant", "method", "pack", "jar", "minutes", "dial", "weighted")
    printed = Counter(
        (*(row[column] for column in columns), str(Fraction(row["headspace_in"])), row["seen"])
        for row in figures("process_rows")
        if row["seen"] != "memory"
    )

    assert Counter(table_rows()) == printed
    assert printed.total() == 292


def test_no_higher_band_has_a_shorter_time_or_a_lower_pressure() -> None:
    every = [
        row for document in documents().values() for e in document.get("recipe", []) for row in e.get("process", [])
    ]
    every += [row for document in documents().values() for t in document.get("process_table", []) for row in t["rows"]]
    for row in every:
        for key in ("minutes", "dial_psi", "weighted_psi"):
            if isinstance(bands := row.get(key), list):
                numbers = [number for _, number in bands if number != "not-recommended"]
                assert numbers == sorted(numbers), row
                heights = [height for height, _ in bands if height != "above"]
                assert heights == sorted(set(heights)), row


def test_at_least_130_recipes_are_tested_and_the_rest_are_known() -> None:
    held = {slug for slug, recipe in recipes().items() if not recipe.is_tested}

    assert held == HELD_BACK
    assert len(recipes()) - len(held) >= 130
    for slug in held:
        assert recipes()[slug].note.startswith("Held back"), slug


def test_nothing_gathered_from_memory_is_marked_as_tested() -> None:
    since = PROCESS_READ_SINCE | PROCESS_ON_THE_RECIPES_PAGE
    for row in figures("recipe_yields"):
        recipe = recipes()[row["slug"]]
        if row["amounts_seen"] not in ("seen-once", "seen-twice") and row["slug"] not in AMOUNTS_READ_SINCE:
            assert not recipe.amounts_seen.is_seen, row["slug"]
        if row["process_seen"] not in ("seen", "none") and row["slug"] not in since:
            assert recipe.process_seen is not None, row["slug"]
            assert not recipe.process_seen.is_seen, row["slug"]


def test_a_process_read_since_names_the_page_it_was_read_on() -> None:
    for slug in PROCESS_READ_SINCE:
        recipe = recipes()[slug]
        own_rows = [row for row in recipe.process if row.method is recipe.method]
        assert all(row.seen.is_seen and row.source != recipe.source for row in own_rows), slug
        assert "process" in recipe.note, slug


def test_a_recipe_is_no_better_seen_than_its_worst_process_row() -> None:
    for recipe in recipes().values():
        own = [row for row in recipe.process if row.method is recipe.method]
        if recipe.process_seen is not None and recipe.process_seen.is_seen:
            assert all(row.seen.is_seen for row in own), recipe.slug
