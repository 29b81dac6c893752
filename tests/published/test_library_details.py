"""Step figures, canner loads and facts for each jar against bare copies of the published numbers.

Their copies are recipe_steps.csv, recipe_loads.csv and recipe_per_jar.csv.
"""

from __future__ import annotations

from fractions import Fraction

from recipes.engine.canner_load import same_item
from recipes.engine.document import entries_from_library
from tests.published.library import documents, figures, recipes


def test_every_figure_of_a_step_is_the_published_one_for_its_pack() -> None:
    found = {
        (slug, step.pack or "", name, *figure)
        for slug, recipe in recipes().items()
        for step in recipe.steps
        for name in ("minutes", "hours", "temperature_f", "size_in")
        if (figure := getattr(step, name)) is not None
    }
    printed = {
        (row["slug"], row["pack"], row["figure"], Fraction(row["low"]), Fraction(row["high"]))
        for row in figures("recipe_steps")
    }

    assert found == printed
    assert len(printed) >= 200


def test_no_step_of_a_tested_recipe_has_a_figure_that_was_not_seen() -> None:
    for recipe in recipes().values():
        for step in recipe.steps:
            assert step.seen is None or step.seen.is_seen, (recipe.slug, step.text)


def test_every_load_is_the_published_one() -> None:
    found = {
        (slug, line.jar, line.count, line.amount, line.unit)
        for slug, recipe in recipes().items()
        for line in recipe.loads
    }
    printed = {
        (row["slug"], row["jar"], int(row["count"]), Fraction(row["amount"]), row["unit"])
        for row in figures("recipe_loads")
    }

    assert found == printed


def test_every_fact_and_choice_for_each_jar_is_the_published_one() -> None:
    found = {
        (slug, same_item(fact.item).removeprefix("bottled "), fact.jar, fact.amount, fact.unit)
        for slug, recipe in recipes().items()
        for fact in (*recipe.per_jar, *recipe.alternatives)
        if fact.jar
    }
    printed = {
        (row["slug"], same_item(row["item"]), row["jar"], Fraction(row["amount"]), row["unit"])
        for row in figures("recipe_per_jar")
    }

    assert found == printed


def test_every_figure_of_a_step_that_stands_by_a_table_is_the_published_one() -> None:
    tables = [table for document in documents().values() for table in entries_from_library(document)[1]]
    found = {
        (table.food, name, *figure)
        for table in tables
        for step in table.steps
        for name in ("minutes", "hours", "temperature_f", "size_in")
        if (figure := getattr(step, name)) is not None
    }
    printed = {
        (row["food"], row["figure"], Fraction(row["low"]), Fraction(row["high"])) for row in figures("table_steps")
    }

    assert found == printed
    assert all(line.seen.is_seen for table in tables for line in table.loads)
