"""A food that has a process table and no recipe: planned by the jar, for the table's own jars, packs and canners.

What goes into each jar comes from the table's facts; what was not read in print is looked up by the cook. A table
whose time rests on a recipe (pickles, spreads, sauces, anything with tomatoes) is not planned from alone.
"""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

from recipes.engine.acidity import FoodClass, KnownFoods
from recipes.engine.terms import (
    Method,
    ProcessTable,
    Refusal,
    Seen,
    StatedYield,
    TestedRecipe,
)

KIND = "canner-load"
SLUG_BEGIN = "table-"
LONGEST_SLUG = 80

# What a table is called whose time is that of one tested recipe.
# fmt: off
_OF_A_RECIPE = frozenset({
    "pickle", "pickles", "pickled", "relish", "chutney", "jam", "jelly", "preserves", "marmalade", "butter", "syrup",
    "ketchup", "sauce", "salsa", "filling", "marinated", "piccalilli", "carne", "blend", "puree", "rings", "spiced",
    "acidified",
})
# fmt: on
_PLAIN = frozenset({FoodClass.FRUIT, FoodClass.NEUTRAL, FoodClass.DESCRIBES, FoodClass.WATER, FoodClass.SPICE})
_NOT_ALONE = frozenset({FoodClass.NEAR, FoodClass.NEVER})


def table_refusal(table: ProcessTable, foods: KnownFoods) -> Refusal | None:
    """Why nothing is planned from this table alone, or None."""
    if not any(row.seen.is_seen for row in table.rows):
        return Refusal("process-not-seen", "SEEN-ONLY")
    if not _stands_alone(table, foods):
        return Refusal("recipe-needed", "TABLE-ALONE", {"food": table.food})
    return None


def recipe_of_table(table: ProcessTable) -> TestedRecipe:
    """The table as a recipe without amounts; `table_refusal` says whether it may be planned from."""
    seen = [row.seen for row in table.rows if row.seen.is_seen]
    jars = [row.jar for row in table.rows if row.seen.is_seen] or ["pint"]
    return TestedRecipe(
        slug=table_slug(table),
        title=_title(table),
        kind=KIND,
        method=table.method,
        produce=table.produce or (table.food,),
        pectin="",
        ingredients=(),
        stated_yield=StatedYield(
            jar="quart" if "quart" in jars else jars[0],
            low=Fraction(1),
            high=Fraction(1),
            seen=Seen.MEMORY,
            note=f"Planned by the jar, from the process table for {table.food}.",
            is_printed=False,
        ),
        headspace_in=table.headspace_in,
        process=table.rows,
        steps=table.steps,
        source=table.source,
        amounts_seen=Seen.ONCE,
        process_seen=Seen.ONCE if Seen.ONCE in seen else Seen.TWICE if seen else Seen.MEMORY,
        cautions=table.cautions,
        note=table.note,
        loads=tuple(line if line.item else replace(line, item=table.food) for line in table.loads),
        per_jar=table.per_jar,
        alternatives=table.alternatives,
        packing_liquids=table.packing_liquids,
        is_by_jar=True,
    )


def _stands_alone(table: ProcessTable, foods: KnownFoods) -> bool:
    """Whether the food by itself is what was tested: in boiling water only fruit, of which every word is known."""
    said = f"{table.food} {table.variant}"
    if _OF_A_RECIPE & set(re.findall(r"[a-z]+", said.lower())):
        return False
    named = [foods.read(text) for text in (table.food, table.variant, *table.produce) if text]
    kinds = {food.kind for each in named for food in each.foods}
    if kinds & _NOT_ALONE:
        return False
    if table.method is Method.PRESSURE:
        return True
    return FoodClass.FRUIT in kinds and kinds <= _PLAIN and not any(each.unknown for each in named)


def table_slug(table: ProcessTable) -> str:
    """ "table-asparagus-spears-or-pieces-pressure": the name of a table in addresses and commands."""
    words = re.findall(r"[a-z0-9]+", f"{table.food} {table.variant}".lower())
    end = f"-{table.method.value}"
    return f"{SLUG_BEGIN}{'-'.join(words)}"[: LONGEST_SLUG - len(end)].rstrip("-") + end


def _title(table: ProcessTable) -> str:
    said = ", ".join(part for part in (table.food, table.variant) if part)
    return said[:1].upper() + said[1:]
