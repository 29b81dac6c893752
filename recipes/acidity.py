"""What the acid ledger is judged by: the list of foods and the tested library, both read from our own files."""

from __future__ import annotations

import csv
from functools import lru_cache

from recipes.engine.acidity import Ledger, ledger_of
from recipes.engine.acidity_foods import FoodClass, KnownFood, KnownFoods
from recipes.library import SHIPPED, Library, read_library

FOODS_FILE = SHIPPED / "acidity.csv"

Names = tuple[tuple[str, KnownFood], ...]


@lru_cache(maxsize=1)
def known_foods() -> KnownFoods:
    with FOODS_FILE.open(encoding="utf-8", newline="") as file:
        return KnownFoods(
            tuple(
                (name, KnownFood(row["food"], FoodClass(row["class"])))
                for row in csv.DictReader(file)
                for name in (row["food"], *row["names"].split("; "))
                if name
            )
        )


@lru_cache(maxsize=1)
def shipped_library() -> Library:
    return read_library([SHIPPED])


@lru_cache(maxsize=8)
def ledger_with(classed: Names, withdrawn: frozenset[str]) -> Ledger:
    """The ledger with the foods that reviewers classed, and without the recipes that were withdrawn."""
    tested = (entry.recipe for entry in shipped_library().recipes if entry.recipe.slug not in withdrawn)
    return ledger_of(known_foods().and_also(classed), tested)
