"""The rules of the trade that the engine applies, each with its name, what it says and its source.

They stand in `data/rules.csv`. A rule with no printed source says "common practice, no source"; one not re-read in
print, "from memory". Minutes in the rules of the day pace the work; none of them is a process time, and none makes
anything safe.
"""

from __future__ import annotations

from dataclasses import dataclass

from recipes.engine.data import rows

NO_SOURCE = "common practice, no source"
FROM_MEMORY = "from memory"
USDA = "USDA Complete Guide to Home Canning, 2015"
EQUIPMENT = USDA + ", Guide 1, as carried by Michigan State Univ. Extension 01600948"


@dataclass(frozen=True)
class Rule:
    """One rule of the trade. `source` may say "common practice, no source" or "from memory"."""

    name: str
    statement: str
    source: str


RULES: dict[str, Rule] = {row["name"]: Rule(**row) for row in rows("rules.csv")}

# Kinds of recipe that are low-acid unless acid is added, whatever role their lines carry.
# A ferment's acid is made in the crock, by its salt and its days: no line of the recipe holds it.
FERMENT_KINDS = frozenset({"ferment", "sauerkraut"})
LOW_ACID_KINDS = frozenset({"vegetable", "meat", "poultry", "fish", "seafood", "soup", "stock"})

# Fruit near pH 4.6 (rule ACID-ADDED), as words of an ingredient's item.
BORDERLINE_FRUIT = ("tomato", "fig", "asian pear", "elderberr")


def is_borderline(item: str) -> bool:
    """Whether an ingredient is one of the fruits that need added acid in boiling water."""
    words = item.lower()
    return any(f" {fruit}" in f" {words}" for fruit in BORDERLINE_FRUIT)
