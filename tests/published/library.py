"""What the tests of the published library share: its files, as plain values and as recipes, and the bare figures."""

from __future__ import annotations

import csv
import tomllib
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from recipes.engine.document import entries_from_library
from recipes.engine.terms import TestedRecipe

HERE = Path(__file__).parent
FIXTURES = HERE.parents[1] / "fixtures"
LIBRARY = FIXTURES / "library"
FILES = sorted(LIBRARY.glob("*.toml"))


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def figures(name: str) -> list[dict[str, str]]:
    """The bare copy of some published numbers kept beside the tests."""
    return rows_of(HERE / f"{name}.csv")


def foods(name: str) -> list[dict[str, str]]:
    return rows_of(FIXTURES / "foods" / f"{name}.csv")


@cache
def documents() -> dict[str, dict[str, Any]]:
    return {path.name: tomllib.loads(path.read_text(encoding="utf-8")) for path in FILES}


def raw_recipes() -> dict[str, dict[str, Any]]:
    """Recipes as the files have them, not through the engine's reader."""
    return {entry["slug"]: entry for document in documents().values() for entry in document.get("recipe", [])}


@cache
def recipes() -> dict[str, TestedRecipe]:
    return {recipe.slug: recipe for document in documents().values() for recipe in entries_from_library(document)[0]}


def exact(text: str) -> Fraction:
    return sum((Fraction(part) for part in text.split()), Fraction(0))
