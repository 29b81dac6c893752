"""The five syrups of the guide, and what covers the food of a plan: one of them, or another liquid of its source."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple

from recipes.engine.alternatives import same_item
from recipes.engine.data import rows
from recipes.engine.document_fields import parse_exact
from recipes.engine.quantities import JAR_ML
from recipes.engine.terms import Ingredient, JarFact, PackingLiquids, Role, Seen, Strength, TestedRecipe, TestedSource


class Syrup(NamedTuple):
    """Cups of water and sugar for a canner load of 9 pints or of 7 quarts; `percent` is the sugar in the syrup."""

    strength: Strength
    percent: int
    water: dict[str, Fraction]  # for one jar of each size that is printed
    sugar: dict[str, Fraction]
    source: TestedSource
    seen: Seen


def _cups(text: str) -> Fraction:
    value = parse_exact(text)
    if value is None:
        raise ValueError(f"not a number of cups: {text}")
    return value


def _syrup(row: dict[str, str]) -> Syrup:
    title, _comma, place = row["source"].partition(", ")
    return Syrup(
        strength=Strength(row["strength"]),
        percent=int(row["percent"]),
        water={"pint": _cups(row["water_cups_9_pints"]) / 9, "quart": _cups(row["water_cups_7_quarts"]) / 7},
        sugar={"pint": _cups(row["sugar_cups_9_pints"]) / 9, "quart": _cups(row["sugar_cups_7_quarts"]) / 7},
        source=TestedSource(title, "", place),
        seen=Seen(row["seen"]),
    )


SYRUPS: dict[Strength, Syrup] = {syrup.strength: syrup for syrup in map(_syrup, rows("syrups.csv"))}


def liquid_named(liquids: PackingLiquids, name: str) -> str:
    """The allowed liquid that a person means by `name` ("very light", "Water"), or ""."""
    meant = same_item(name).removesuffix(" syrup")
    return next((each for each in liquids.names if meant in (same_item(each), each.replace("-", " "))), "")


def with_liquid(recipe: TestedRecipe, name: str) -> TestedRecipe:
    """The recipe covered with one of its packing liquids.

    Its own lines for a syrup give way to the syrup chosen, which goes by the jar; how much of another liquid the jars
    take is not printed, so that has no line.
    """
    liquids = recipe.packing_liquids
    assert liquids is not None  # noqa: S101 - `name` is one of them
    own = [line for line in recipe.ingredients if not _gives_way(line, liquids)]
    lines = list(own)
    if name not in list(Strength):
        return replace(recipe, ingredients=tuple(lines))
    syrup = SYRUPS[Strength(name)]
    facts = list(recipe.per_jar)
    stated = recipe.stated_yield
    for item, role, cups in (("water", Role.LIQUID, syrup.water), ("sugar", Role.SUGAR, syrup.sugar)):
        prep = f"for {name.replace('-', ' ')} syrup"
        a_pot = cups["quart"] * stated.low * JAR_ML[stated.jar] / JAR_ML["quart"]
        lines.append(Ingredient(item=item, prep=prep, role=role, amount=a_pot, unit="cup"))
        facts += [
            JarFact(item, role, jar, amount, "cup", syrup.seen, prep=prep, source=syrup.source, is_mixed=True)
            for jar, amount in cups.items()
        ]
    return replace(recipe, ingredients=tuple(lines), per_jar=tuple(facts))


def _gives_way(line: Ingredient, liquids: PackingLiquids) -> bool:
    """A line that stands for the recipe's own syrup: as the recipe says, else by its preparation."""
    if liquids.instead_of:
        return same_item(line.item) in map(same_item, liquids.instead_of)
    return line.role in (Role.LIQUID, Role.SUGAR) and "syrup" in line.prep.lower()
