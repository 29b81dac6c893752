"""The library file by file against a second, bare copy of the published numbers kept beside this test.

The copies hold numbers only: recipe_amounts.csv, recipe_processes.csv, recipe_yields.csv and process_rows.csv.
They were not made from the library, so a slip of typing in either is caught here.
"""

from __future__ import annotations

import csv
import re
import tomllib
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from recipes.engine.document import entries_from_library
from recipes.engine.terms import Method, Role, TestedRecipe

HERE = Path(__file__).parent
LIBRARY = HERE.parents[1] / "fixtures" / "library"
FILES = sorted(LIBRARY.glob("*.toml"))

HELD_BACK = {"peach-jam-powdered", "peach-orange-marmalade-plain", "salsa-paste-tomatoes"}

# Read in print after the first gathering, or replaced by a published table that was (the recipe's note says so).
PROCESS_READ_SINCE = {
    "applesauce",
    "blueberry-pie-filling",
    "okra",
    "potatoes-white",
    "sweet-pepper-relish",
    "tomato-juice",
}
ACID_ITEM = re.compile(r"vinegar|lemon juice|lime juice")
A_TIME = re.compile(
    r"\b(\d+|one|two|five|ten|fifteen|twenty|thirty|forty|fifty|sixty)\b[^.;,]{0,12}\bmin", re.IGNORECASE
)
ALLOWED_BESIDE_A_CANNER = ("let the jars stand five minutes before lifting", "for ten minutes before closing it")


def figures(name: str) -> list[dict[str, str]]:
    with (HERE / f"{name}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@cache
def documents() -> dict[str, dict[str, Any]]:
    return {path.name: tomllib.loads(path.read_text(encoding="utf-8")) for path in FILES}


def raw_recipes() -> dict[str, dict[str, Any]]:
    return {entry["slug"]: entry for document in documents().values() for entry in document.get("recipe", [])}


@cache
def recipes() -> dict[str, TestedRecipe]:
    return {recipe.slug: recipe for document in documents().values() for recipe in entries_from_library(document)[0]}


def exact(text: str) -> Fraction:
    return sum((Fraction(part) for part in text.split()), Fraction(0))


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
        assert (stated["jar"], stated["low"], stated["high"]) == (row["jar"], row["low"], row["high"]), row["slug"]
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


def test_at_least_sixty_recipes_are_tested_and_the_rest_are_known() -> None:
    held = {slug for slug, recipe in recipes().items() if not recipe.is_tested}

    assert held == HELD_BACK
    assert len(recipes()) - len(held) >= 60
    for slug in held:
        assert recipes()[slug].note.startswith("Held back"), slug


def test_nothing_gathered_from_memory_is_marked_as_tested() -> None:
    for row in figures("recipe_yields"):
        recipe = recipes()[row["slug"]]
        if row["amounts_seen"] not in ("seen-once", "seen-twice"):
            assert not recipe.amounts_seen.is_seen, row["slug"]
        if row["process_seen"] not in ("seen", "none") and row["slug"] not in PROCESS_READ_SINCE:
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


def test_every_acid_line_has_the_role_acid_and_none_is_missing() -> None:
    printed = {(row["slug"], row["line"]) for row in figures("recipe_amounts") if ACID_ITEM.search(row["item"])}
    found = {
        (slug, str(number))
        for slug, recipe in recipes().items()
        for number, line in enumerate(recipe.ingredients, 1)
        if line.role is Role.ACID
    }

    assert found == printed
    assert len(found) >= 30


def test_no_acid_line_is_optional() -> None:
    acids = [line for recipe in recipes().values() for line in recipe.ingredients if line.role is Role.ACID]

    assert not any(line.optional for line in acids)


def test_no_step_gives_a_process_time_or_a_pressure() -> None:
    for recipe in recipes().values():
        for step in recipe.steps:
            assert not re.search(r"\bpsi\b|pounds? of pressure|lb of pressure", step, re.IGNORECASE), (
                recipe.slug,
                step,
            )
            if re.search(r"\bcanner|\bprocess", step, re.IGNORECASE):
                rest = step
                for sentence in ALLOWED_BESIDE_A_CANNER:
                    rest = rest.replace(sentence, "")
                assert not A_TIME.search(rest), (recipe.slug, step)


def test_every_canned_recipe_sends_the_cook_to_the_table_for_its_time() -> None:
    for recipe in recipes().values():
        if recipe.method is Method.FREEZER:
            continue
        text = " ".join(recipe.steps)
        assert "the table gives" in text, recipe.slug
        assert "fingertip-tight" in text, recipe.slug
        assert "12 to 24 hours" in text, recipe.slug
        assert f"{recipe.headspace_in} inch of headspace" in text, recipe.slug


def test_a_freezer_recipe_says_that_it_must_not_stand_on_a_shelf() -> None:
    frozen = [recipe for recipe in recipes().values() if recipe.method is Method.FREEZER]

    assert len(frozen) == 3
    for recipe in frozen:
        assert not recipe.process
        assert "never on a shelf" in recipe.steps[-1], recipe.slug
        assert any("must not stand on a shelf" in caution for caution in recipe.cautions), recipe.slug


def test_a_hard_boil_is_written_out_for_every_spread_with_added_pectin() -> None:
    for recipe in recipes().values():
        if recipe.hard_boil is None:
            continue
        text = " ".join(recipe.steps)
        assert "full rolling boil that cannot be stirred down" in text, recipe.slug
        minutes = (
            "half a minute" if recipe.hard_boil.minutes == Fraction(1, 2) else f"{recipe.hard_boil.minutes} minute"
        )
        assert re.search(rf"boil hard for {minutes}", text, re.IGNORECASE), recipe.slug


def test_pectin_and_sugar_go_in_in_the_order_of_the_test() -> None:
    for recipe in recipes().values():
        if recipe.hard_boil is None:
            continue
        pectin = next(
            i for i, step in enumerate(recipe.steps) if re.search(r"stir in the (powdered|liquid) pectin", step, re.I)
        )
        sugar = next(i for i, step in enumerate(recipe.steps) if re.search(r"\bsugar\b", step))
        assert (pectin < sugar) == (recipe.pectin == "powdered"), recipe.slug
        if recipe.hard_boil.pectin_added.startswith("after the boil"):
            assert "off the heat" in recipe.steps[pectin], recipe.slug


def test_a_weight_is_given_only_with_its_source() -> None:
    for recipe in recipes().values():
        for line in recipe.ingredients:
            assert (line.grams is None) == (line.grams_source == ""), (recipe.slug, line.item)


def test_low_acid_vegetables_are_for_the_pressure_canner_unless_acid_is_added() -> None:
    for recipe in recipes().values():
        roles = {line.role for line in recipe.ingredients}
        if Role.LOW_ACID in roles and Role.ACID not in roles:
            assert {row.method for row in recipe.process} == {Method.PRESSURE}, recipe.slug
            assert any("pressure canner" in caution for caution in recipe.cautions), recipe.slug


def test_the_example_in_the_format_notes_is_read_and_is_the_recipe_it_says() -> None:
    notes = (LIBRARY / "README.md").read_text(encoding="utf-8")
    example = next(block for block in re.findall(r"```toml\n(.*?)```", notes, re.DOTALL) if "slug" in block)
    (shown,), _ = entries_from_library(tomllib.loads(f'format = "kettlehall-library-1"\n{example}'))
    real = recipes()[shown.slug]

    assert [(line.item, line.amount, line.unit) for line in shown.ingredients] == [
        (line.item, line.amount, line.unit) for line in real.ingredients
    ]
    assert shown.source == real.source
    assert set(shown.process) <= set(real.process)


@pytest.mark.parametrize("name", ["measures", "composition", "produce", "refuse"])
def test_every_figure_about_a_food_has_its_source_and_says_how_far_it_was_checked(name: str) -> None:
    with (LIBRARY.parent / "foods" / f"{name}.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))

    assert len(rows) >= 60
    for row in rows:
        assert row["source"].strip(), row
        assert re.search(r"seen-(once|twice)|memory", row["confidence"]), row


def test_grams_of_a_recipe_line_come_from_the_weight_of_a_cup() -> None:
    with (LIBRARY.parent / "foods" / "measures.csv").open(newline="", encoding="utf-8") as file:
        per_cup = {Fraction(row["g_per_cup"]) for row in csv.DictReader(file)}
    cups = {"cup": Fraction(1), "tbsp": Fraction(1, 16), "tsp": Fraction(1, 48), "quart": Fraction(4)}
    for recipe in recipes().values():
        for line in recipe.ingredients:
            if line.grams is not None and line.unit in cups:
                assert line.grams / (line.amount * cups[line.unit]) in per_cup, (recipe.slug, line.item)
