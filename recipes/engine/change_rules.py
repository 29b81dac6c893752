"""Every decision about a proposed change, in one table by its code."""

from __future__ import annotations

from recipes.engine.change_rules_accident import ACCIDENT
from recipes.engine.change_rules_acid import ACID
from recipes.engine.change_rules_pantry import NEVER, SEASON
from recipes.engine.change_rules_produce import PRODUCE
from recipes.engine.change_rules_sweet import SWEET
from recipes.engine.change_rules_vessel import HEAT, VESSEL, WORK
from recipes.engine.change_sources import NO_SOURCE
from recipes.engine.change_terms import ChangeRule, Ruling, rule

_FIND = "Look for a tested recipe that has it, or ask an instructor."
GRAMMAR = (
    "Write one change at a time, such as: sugar 7 cups -> 5 cups; less sugar; omit salt; add onions 1 cup; "
    "swap vinegar -> bottled lemon juice; jar quart; pack raw; pot x2; canner pressure; process 10 minutes. "
    "Of jars that went wrong do not eat; ask an instructor."
)

GENERAL: tuple[ChangeRule, ...] = (
    rule(
        "NOT-COVERED",
        Ruling.REFUSED,
        "No rule covers this change, and the test did not have it.",
        "a rule of this club",
        _FIND,
    ),
    rule(
        "NOT-UNDERSTOOD",
        Ruling.REFUSED,
        "This change could not be read, so it is not allowed.",
        "a rule of this club",
        GRAMMAR,
    ),
    rule(
        "NOT-IN-RECIPE",
        Ruling.REFUSED,
        "The recipe has nothing called so.",
        "a rule of this club",
        "Name the ingredient as the recipe does.",
    ),
    rule(
        "CANNOT-COMPARE",
        Ruling.REFUSED,
        "The new amount cannot be compared with the recipe's.",
        "a rule of this club",
        "Give it in the recipe's own unit.",
    ),
    rule("NO-CHANGE", Ruling.FINE, "That is what the recipe says.", "the recipe's own test"),
    rule(
        "NOT-TESTED",
        Ruling.REFUSED,
        "This recipe's own figures were not all seen in print, so no change to it can be judged.",
        "a rule of this club",
    ),
    rule(
        "WITHDRAWN",
        Ruling.REFUSED,
        "This revision was withdrawn and is not to be made, changed or not.",
        "a rule of this club",
        "Use the recipe's current revision, or another recipe.",
    ),
    rule(
        "TOGETHER-ACID-VEGETABLE",
        Ruling.REFUSED,
        "More acid does not pay for more vegetables: their balance was tested only as printed.",
        "a rule of this club, after the proportions of NDSU FN189",
    ),
    rule(
        "TOGETHER-POT",
        Ruling.REFUSED,
        "With a part of the pot it is not known which pot this measure is of, and acid and vegetables go by the pot.",
        "a rule of this club, after the proportions of NDSU FN189",
        "Ask about the measure for the whole pot, then scale everything alike.",
    ),
    rule(
        "TOGETHER-SET",
        Ruling.REFUSED,
        "Each of these changes alone only weakens the product; together they make another one, which was not tested.",
        NO_SOURCE,
        "Make one of them at a time.",
    ),
    rule(
        "TOGETHER-SUGAR-STARCH",
        Ruling.REFUSED,
        "Sugar and thickener were tested together; with both changed it is not known how the jar heats.",
        NO_SOURCE,
        "Change one of them, or thicken when the jar is opened.",
    ),
)

CHANGE_RULES: dict[str, ChangeRule] = {
    entry.code: entry
    for entry in (*GENERAL, *SWEET, *ACID, *PRODUCE, *NEVER, *SEASON, *VESSEL, *HEAT, *WORK, *ACCIDENT)
}
