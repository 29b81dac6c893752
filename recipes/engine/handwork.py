"""What hands do to the food before its pot is lit: minutes by kilogram and cook, each as a range.

The figures are in `data/handwork.csv`, each with its source; most have none but common practice and say so. A line of
a recipe tells by its words what is done to it ("peeled, cored"); the steps of a plan tell it of the food there is most
of.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from functools import lru_cache
from math import ceil
from typing import NamedTuple

from recipes.engine.data import rows
from recipes.engine.mass_balance import WeighedLine, weigh_line, words_of
from recipes.engine.scaling import Line
from recipes.engine.terms import Ingredient, RecipeStep, Role

ALWAYS = "always"
CUTTING = frozenset({"cut", "slice", "chop", "shred"})
# Food that comes out of a packet, a bottle or the freezer, or was drawn off on another day.
READY = frozenset(words_of("juice canned raisin concentrate paste sauce broth syrup maraschino frozen"))
FRESH = "fresh"  # "fresh or thawed" is as long as fresh
# What a step's action is called where it was done to a line.
DONE = {
    "peel": "peeled",
    "skin": "peeled",
    "core": "cored",
    "pit": "pitted",
    "shell": "shelled",
    "cut": "cut",
    "slice": "sliced",
    "chop": "chopped",
    "shred": "shredded",
    "grate": "grated",
    "grind": "ground",
    "mince": "minced",
    "crush": "crushed",
    "mash": "mashed",
    "press": "pressed",
    "sieve": "pressed",
}


class Pace(NamedTuple):
    """One task on one food: minutes of one cook for a kilogram, from `low` to `high`.

    `foods` are its names, each the words that must all occur; none stands for any food. `when` are words of which one
    must occur; where there are none, every line of the food asks for it.
    """

    task: str
    foods: tuple[frozenset[str], ...]
    when: frozenset[str]
    low: float
    high: float
    source: str
    seen: str

    def fits(self, words: frozenset[str]) -> int:
        """With how many words it names this food: 0 where it is of any food, -1 where it is not this one's."""
        if self.when and not self.when & words:
            return -1
        if not self.foods:
            return 0
        return max((len(food) for food in self.foods if food <= words), default=-1)


class HandWork(NamedTuple):
    """What is done to one food of a plan. `kg` is what the recipe measures, `low` and `high` minutes of one cook."""

    item: str
    tasks: tuple[str, ...]
    kg: float
    low: float
    high: float
    sources: tuple[str, ...]

    def minutes(self, cooks: int) -> tuple[int, int]:
        """Whole minutes on the clock for so many cooks side by side, from the shorter to the longer end."""
        return ceil(self.low / cooks), ceil(self.high / cooks)


def _paces() -> tuple[Pace, ...]:
    return tuple(
        Pace(
            task=row["task"],
            foods=tuple(frozenset(words_of(food)) for food in row["food"].split(";") if food),
            when=frozenset(word for one in row["when"].split(";") if one != ALWAYS for word in words_of(one)),
            low=float(row["low"]),
            high=float(row["high"]),
            source=row["source"],
            seen=row["seen"],
        )
        for row in rows("handwork.csv")
    )


PACES = _paces()
TASKS = tuple(dict.fromkeys(pace.task for pace in PACES))  # in the order in which they are done


@lru_cache(maxsize=1024)
def paces_of(words: frozenset[str]) -> tuple[Pace, ...]:
    """The pace of each task that these words ask for: the one that names the food most fully, of equal ones the
    slower. Of "sliced or chopped" only the slower is done."""
    if words & READY and FRESH not in words:
        return ()
    found = []
    for task in TASKS:
        fitting = [(pace.fits(words), pace.high, pace) for pace in PACES if pace.task == task]
        fullness, high, pace = max(fitting, key=lambda each: each[:2])
        if fullness >= 0 and high > 0:
            found.append(pace)
    if "or" in words:
        slowest = max((pace.high for pace in found if pace.task in CUTTING), default=0)
        found = [pace for pace in found if pace.task not in CUTTING or pace.high == slowest]
    return tuple(found)


@lru_cache(maxsize=1024)
def _words(item: str, prep: str) -> frozenset[str]:
    return frozenset(words_of(f"{item} {prep}"))


@lru_cache(maxsize=1024)
def _grams_each(item: str, prep: str, role: Role, unit: str) -> float | None:
    """Grams in one `unit` of the food, the best estimate; None where nobody knows."""
    found = weigh_line(Ingredient(item, prep, role, Fraction(1), unit))
    return found.grams.best if isinstance(found, WeighedLine) else None


def hand_work(lines: Sequence[Line], steps: Iterable[RecipeStep]) -> tuple[HandWork, ...]:
    """A row for each fresh food of these lines, all pots together, most minutes first. A food whose weight nobody knows
    has no row: it is spoonfuls."""
    weighed = [(line.ingredient, grams) for line in lines if (grams := _grams(line))]
    if not weighed:
        return ()
    most = max(weighed, key=lambda each: each[1])[0]
    told = frozenset(DONE[step.action] for step in steps if step.action in DONE)
    found = []
    for printed, grams in weighed:
        words = _words(printed.item, printed.prep)
        paces = paces_of(words | told if printed is most else words)
        if paces:
            kg = grams / 1000
            found.append(
                HandWork(
                    item=printed.item,
                    tasks=tuple(pace.task for pace in paces),
                    kg=kg,
                    low=sum(pace.low for pace in paces) * kg,
                    high=sum(pace.high for pace in paces) * kg,
                    sources=tuple(dict.fromkeys(pace.source for pace in paces)),
                )
            )
    return tuple(sorted(found, key=lambda each: -each.high))


def _grams(line: Line) -> float | None:
    printed = line.ingredient
    if printed.role not in (Role.FRUIT, Role.LOW_ACID):
        return None
    if line.grams is not None:
        return float(line.grams)
    each = _grams_each(printed.item, printed.prep, printed.role, printed.unit)
    return None if each is None else each * float(line.amount)
