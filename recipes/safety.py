"""What pages say of botulism, of a jar before it is eaten, and of a pressure canner; each saying with its source.

The words are ours and stand here; what was read, and how far it was seen, is `fixtures/library/safety.csv`. A saying
without a row that was seen in print cannot be made: a page never speaks of safety from memory.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from math import ceil

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from recipes.engine.acidity import ACIDS, FoodClass, lines_of
from recipes.engine.terms import Altitude, Method, Role, Seen, TestedRecipe
from recipes.library import SHIPPED, known_foods


class Food(StrEnum):
    """What a jar holds, as far as its safety hangs on it."""

    ACID = "acid"
    NEAR = "near"  # safe by its added acid alone: tomatoes, figs, pickles
    LOW_ACID = "low-acid"


# Beside fruit, what a jar may hold that leaves it as acid as it is.
_HARMLESS = ACIDS | {FoodClass.FRUIT, FoodClass.NEUTRAL, FoodClass.SPICE, FoodClass.DESCRIBES, FoodClass.WATER}


def food_of(recipe: TestedRecipe) -> Food:
    """By what the recipe names and how it is processed. A food that nobody classed never counts as acid."""
    if recipe.method is Method.PRESSURE:
        return Food.LOW_ACID
    lines = lines_of(recipe, known_foods())
    is_known = not any(line.item.unknown or line.prep.unknown for line in lines)
    return Food.ACID if is_known and all(line.kinds <= _HARMLESS for line in lines) else Food.NEAR


def has_acid_in_jars(recipe: TestedRecipe) -> bool:
    """Whether acid is measured into each jar, as with plain tomatoes and figs, and not cooked with the food."""
    in_lines = any(line.role is Role.ACID and "in each" in line.prep for line in recipe.ingredients)
    return in_lines or any(fact.role is Role.ACID for fact in recipe.per_jar)


def boil_minutes(altitude: Altitude) -> int:
    """Minutes to boil low-acid food or tomatoes before tasting, where its canning may have departed from the test.

    10 below 1,000 ft, and one more for each 1,000 ft. Of the two ways to count them that are printed (14 or 15 at
    5,000 ft) the longer: every 1,000 ft begun counts, from sea level.
    """
    feet = altitude.feet
    return 10 if feet < 1000 else 10 + ceil(feet / 1000)


@dataclass(frozen=True)
class Fact:
    """What was read: a row of `safety.csv`. `place` are addresses, put apart by " ; "."""

    figure: str
    source: str
    place: str
    seen: Seen


@dataclass(frozen=True)
class Saying:
    """One sentence or two for a page, with the fact behind it."""

    name: str
    statement: str | Promise
    fact: Fact

    @property
    def source(self) -> str:
        return self.fact.source

    @property
    def places(self) -> list[str]:
        return self.fact.place.split(" ; ")


@lru_cache(maxsize=1)
def facts() -> Mapping[str, Fact]:
    """Every row of the file by its name. ValueError for one that was not seen in print, or has no source."""
    with (SHIPPED / "safety.csv").open(encoding="utf-8", newline="") as file:
        rows = {
            row["fact"]: Fact(row["figure"], row["source"], row["place"], Seen(row["seen"]))
            for row in csv.DictReader(file)
        }
    for name, fact in rows.items():
        if not fact.seen.is_seen or not fact.source or not fact.place:
            raise ValueError(f"safety.csv: {name} has no source that was seen in print")
    return rows


def sayings(words: Sequence[tuple[str, str | Promise]]) -> list[Saying]:
    """KeyError for a saying whose fact is not in the file."""
    return [Saying(name, statement, facts()[name]) for name, statement in words]


BOTULISM = (
    (
        "toxin-unseen",
        _(
            "Botulism is a poisoning, by what the germ Clostridium botulinum makes inside a closed jar. It cannot be"
            " seen, smelled or tasted, and one taste of it can kill."
        ),
    ),
    (
        "low-acid-jar",
        _(
            "It grows in low-acid food (pH above 4.6: vegetables, meat, poultry, fish; tomatoes and figs without their"
            " added acid) that did not get its whole process."
        ),
    ),
    ("seal-proves-nothing", _("A good seal proves nothing: a jar seals at less heat than makes it safe.")),
    (
        "not-by-boiling-water",
        _("Only a pressure canner, at the tested time and pressure, makes low-acid food safe. Boiling water does not."),
    ),
)
AT_RISK = (
    ("anybody", _("It can strike anybody who eats from the jar.")),
    (
        "at-risk",
        _(
            "Children under 5, people of 65 and over, pregnant people, and whoever has a weak immune system fall ill"
            " of bad food more easily and more severely. In doubt, they do not eat it."
        ),
    ),
    ("no-honey", _("No honey for a child under 12 months, cooked or not: it can bring infant botulism.")),
)
ILL = (
    (
        "signs-of-botulism",
        _(
            "The signs mostly begin 12 to 36 hours after eating, but may begin from a few hours up to 10 days after:"
            " double or blurred sight, drooping eyelids, a dry mouth, trouble with speaking, swallowing or breathing,"
            " weak muscles, sometimes sickness and cramps."
        ),
    ),
    ("seek-help", _("It is an emergency. Get medical help at once, and say what was eaten and when.")),
)
_BOILING_SAVES_NONE = (
    "boiling-saves-none",
    _("Boiling saves no suspect jar, and none that is to be thrown away."),
)
BEFORE_EATING = (
    (
        "boil-first",
        _(
            "Where its canning may have departed from the tested way, boil low-acid food and tomatoes before anybody"
            " tastes them: 10 minutes below 1,000 ft (305 m), and 1 minute more for each 1,000 ft."
        ),
    ),
    (
        "need-not-boil",
        _(
            "It need not be boiled when all of this is sure: a pressure canner with a right gauge; the tested time and"
            " pressure for this food, pack, jar and altitude; a firm lid, drawn in; nothing leaked, nothing spurted,"
            " no strange smell."
        ),
    ),
    _BOILING_SAVES_NONE,
)
SUSPECT = (
    (
        "signs-of-spoilage",
        _(
            "Do not taste from a jar whose lid is loose or bulges, that leaks, spurts, foams or has rising bubbles,"
            " streaks of dried food from its top, a strange colour or smell, or mould. Low-acid food may be spoiled"
            " and show nothing."
        ),
    ),
    (
        "bag-it",
        _(
            "Low-acid food or tomatoes in a jar that is still closed: leave it closed, put it into a heavy bag, close"
            " that, and put it into the rubbish, out of reach of people and animals."
        ),
    ),
    (
        "gloves",
        _("One that is open or leaks: wear rubber gloves, and let nothing of it touch your skin."),
    ),
    (
        "detoxify",
        _(
            "Make it harmless first: lay jar, lid and food in a pan of 8 quarts or more, add water to 1 inch (25 mm)"
            " above them without splashing, cover it and boil for 30 minutes. Cool it, throw all of it away, and scrub"
            " whatever it may have touched."
        ),
    ),
)
# On a jar's label, where there is room for a few short sentences.
OPENING = (
    (
        "signs-of-spoilage",
        _("Before opening: lid firm and drawn in? Nothing leaking, spurting, foaming, mouldy? Else do not taste it."),
    ),
)
OPENING_NOT_ACID = (
    (
        "boil-first",
        _("Not sure that it was canned as its recipe says? Boil it 10 min and 1 more per 1,000 ft before tasting."),
    ),
    _BOILING_SAVES_NONE,
)
PRESSURE_CANNER = (
    (
        "canner-check",
        _("Before the season: the gasket soft and whole, the vent clear, the safety plug sound, a dial gauge tested."),
    ),
    (
        "glass-top",
        _(
            "On a smooth glass top only if both the maker of the stove and the maker of the canner allow it: a burner"
            " that switches itself off breaks the process, and what it leaves is unsafe."
        ),
    ),
    (
        "glass-top-weight",
        _(
            "A canner full of jars and water may be too heavy for a glass top and crack it: look up the weight it"
            " bears."
        ),
    ),
    (
        "canner-water",
        _("Put 2 to 3 inches (5 to 8 cm) of hot water in; more where the canner's maker or the recipe asks."),
    ),
    ("canner-vent", _("Let steam stream out steadily for 10 minutes before you close the vent.")),
    ("canner-stay", _("Stay with it from the first heat to the last minute, and watch the gauge.")),
    ("restart", _("If the pressure falls below the mark, bring it back and count the whole time again.")),
    (
        "canner-no-forcing",
        _("At the end turn the heat off and let it cool by itself: no cold water, no opening of the vent."),
    ),
    ("canner-wait", _("At zero take the weight off, and wait 10 minutes more before you open the lid.")),
    ("canner-lid-away", _("Lift the lid away from your face; the jars may still boil.")),
)


@dataclass(frozen=True)
class Panel:
    """What a page says of the jars it is about; a list that is empty is not shown.

    `minutes`: how long such food is boiled before tasting, in this kitchen; None where its altitude is not known.
    """

    food: Food
    botulism: list[Saying]
    at_risk: list[Saying]
    ill: list[Saying]
    before_eating: list[Saying]
    minutes: int | None
    suspect: list[Saying]
    pressure: list[Saying]


def opening_for(food: Food) -> list[Saying]:
    """What a jar's label says of opening it."""
    return sayings(OPENING if food is Food.ACID else (*OPENING, *OPENING_NOT_ACID))


def panel_for(
    food: Food, altitude: Altitude | None = None, *, is_pressure: bool = False, is_eaten: bool = True
) -> Panel:
    """`is_eaten` False: jars that are thrown away, or of which nobody knows; nothing is said of boiling them."""
    return Panel(
        food=food,
        botulism=sayings(BOTULISM),
        at_risk=sayings(AT_RISK),
        ill=sayings(ILL),
        before_eating=sayings(BEFORE_EATING) if is_eaten and food is not Food.ACID else [],
        minutes=boil_minutes(altitude) if altitude is not None else None,
        suspect=sayings(SUSPECT),
        pressure=sayings(PRESSURE_CANNER) if is_pressure else [],
    )


def panel_of(recipe: TestedRecipe, altitude: Altitude | None) -> Panel | None:
    """For a recipe whose jars can bring botulism; None for fruit, and for what is kept in the freezer."""
    food = food_of(recipe)
    if food is Food.ACID or recipe.method.is_cold:
        return None
    return panel_for(food, altitude, is_pressure=recipe.method is Method.PRESSURE)
