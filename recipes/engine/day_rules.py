"""The rules behind jars, canner loads and the day's timeline, each with its source.

Minutes here pace the work; none of them is a process time, and none makes anything safe.
"""

from __future__ import annotations

from recipes.engine.rules import NO_SOURCE, USDA
from recipes.engine.terms import Caution, Refusal, Rule

EQUIPMENT = USDA + ", Guide 1, as carried by Michigan State Univ. Extension 01600948"

_ALL = (
    Rule("JAR-MIX", "Jars are chosen to leave least over, then for fewest canner loads, then fewest jars.", NO_SOURCE),
    Rule("PART-JAR", "A jar that is not full is not processed; it goes into the refrigerator.", NO_SOURCE),
    Rule("LOAD-PROCESS", "Jars share a canner load only when their process is the same in every figure.", USDA),
    Rule("LOAD-CAPACITY", "A canner holds seven quarts, or nine pints, in one layer.", EQUIPMENT),
    Rule("LOAD-SHARED", "In a shared load each jar takes its fraction of the canner's count.", NO_SOURCE),
    Rule(
        "POT-ALONE",
        "Each pot is cooked, filled and loaded by itself: two pots never go in one.",
        "Michigan State Univ. Extension 01600961; AIB 539, Guide 1 (a spread is never doubled); " + NO_SOURCE,
    ),
    Rule("NO-WAIT", "A finished pot never waits for water, a jar, a canner or a cook.", NO_SOURCE),
    Rule("BURNER-EACH", "A hot canner stays on its burner from first heating until its last load is out.", NO_SOURCE),
    Rule(
        "COOK-PRINTED", "Cooking minutes are the recipe's own; the timeline only knows a printed hard boil.", NO_SOURCE
    ),
    Rule("ONE-DAY", "A plan is one day's work: at most 60 canner loads.", NO_SOURCE),
    Rule("FINISH", "Working back from a finish, nothing starts before the earliest time that was given.", NO_SOURCE),
)

DAY_RULES: dict[str, Rule] = {rule.name: rule for rule in _ALL}


def day_refusal(code: str, rule: str, message: str) -> Refusal:
    """A refusal that cites one of these rules and its source."""
    return Refusal(code, message, rule, DAY_RULES[rule].source)


def day_caution(code: str, rule: str, message: str) -> Caution:
    """A caution that cites one of these rules and its source."""
    return Caution(code, message, rule, DAY_RULES[rule].source)
