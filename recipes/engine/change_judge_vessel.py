"""Deciding: jar, pack, pot, canner, time, pressure, headspace and ways of working."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from recipes.engine.change_facts import Facts
from recipes.engine.change_foods import read_phrase
from recipes.engine.change_judge_add import vinegar_rule
from recipes.engine.change_judge_amount import Decision
from recipes.engine.change_kinds import LOW_ACID, Kind
from recipes.engine.change_rules import CHANGE_RULES
from recipes.engine.change_rules_accident import LOW_ACID_STOOD
from recipes.engine.change_terms import Act, Change, Ruling
from recipes.engine.change_text import tokens
from recipes.engine.process import process_choices
from recipes.engine.quantities import JAR_ML, JAR_SIZES
from recipes.engine.terms import Canner, Method, Pack, ProcessRow

STEAM_MINUTES = 45
_ANY_FOOD = frozenset({"jar", "food", "batch"})
STRONGEST_VINEGAR = 7  # percent; more is not a table vinegar, or a share of it and not a strength


def seen_rows(facts: Facts) -> list[ProcessRow]:
    return [row for row in facts.recipe.process if row.seen.is_seen]


def judge_jar(facts: Facts, change: Change) -> Decision:
    if change.word == "larger" or change.word == "gallon":
        return Decision("JAR-LARGER")
    if facts.is_freezer:
        return Decision("JAR-FREEZER")
    choices = process_choices(facts.recipe.process)
    if change.word == "smaller":
        return Decision("JAR-SMALLER" if choices.tested_jars else "NOT-COVERED")
    if change.word not in JAR_ML:
        return Decision("JAR-UNKNOWN")
    if change.word in choices.tested_jars:
        return Decision("JAR-TESTED")
    if change.word in choices.jars:
        tested = next(size for size in choices.tested_jars if JAR_ML[size] > JAR_ML[change.word])
        return Decision("JAR-SMALLER", f"Here that is the time of the {tested} jar.")
    return Decision("JAR-LARGER")


def judge_pack(facts: Facts, change: Change) -> Decision:
    if facts.is_freezer:
        return Decision("FREEZER-SHELF")
    packs = process_choices(facts.recipe.process).packs
    return Decision("PACK-AS-TESTED" if change.word in packs else "PACK-OTHER")


def judge_pot(facts: Facts, change: Change) -> Decision:
    limits = facts.recipe.pot_limits
    factor = change.factor
    larger = change.word == "larger" or (factor is not None and factor > limits.largest)
    if larger or (factor is None and change.word != "smaller"):
        return Decision("POT-DOUBLE-SPREAD" if facts.is_spread else "POT-DOUBLE")
    if factor is not None and factor <= 0:
        return Decision("NOT-UNDERSTOOD")
    if factor is not None and factor >= limits.smallest and _on_step(factor, limits.step):
        return Decision("POT-WITHIN", f"The test allows {limits.smallest} to {limits.largest} of a pot.")
    if facts.is_fermented:
        return Decision("NOT-COVERED")
    return Decision("POT-HALF-SPREAD" if facts.is_spread else "POT-HALF")


def _on_step(factor: Fraction, step: Fraction | None) -> bool:
    return step is None or (factor / step).denominator == 1


def judge_canner(facts: Facts, change: Change) -> Decision:
    """A canner, and the minutes in it where they are said."""
    found = _canner(facts, change)
    if change.factor is None or CHANGE_RULES[found.code].verdict is Ruling.REFUSED:
        return found
    return judge_process(facts, Change(Act.PROCESS, factor=change.factor, word="minutes"))


def _canner(facts: Facts, change: Change) -> Decision:
    if facts.is_freezer:
        return Decision("FREEZER-SHELF")
    if change.item and (other := _other_food(facts, change)):
        return other
    canners = process_choices(facts.recipe.process).canners
    if change.word == "steam":
        return _steam(facts, canners)
    if change.word == "boiling-water":
        return Decision("CANNER-SAME" if Canner.BOILING_WATER in canners else "BOILING-FOR-PRESSURE")
    pressure = set(canners) & {Canner.DIAL_GAUGE, Canner.WEIGHTED_GAUGE}
    return Decision("CANNER-SAME" if pressure else "PRESSURE-FOR-BOILING")


def _other_food(facts: Facts, change: Change) -> Decision | None:
    """ "Water bath my green beans" is never allowed, whatever recipe it was asked of; another food is not this one."""
    phrase = read_phrase(change.item)
    if phrase.kinds & LOW_ACID and change.word != "pressure":
        return Decision("BOILING-FOR-PRESSURE" if change.word == "boiling-water" else "STEAM-CANNER-LOW-ACID")
    known = phrase.is_known and facts.find(change.item)
    named = set(tokens(change.item)) <= _ANY_FOOD | set(tokens(facts.recipe.kind))
    return None if known or named else Decision("NOT-IN-RECIPE")


def _steam(facts: Facts, canners: Sequence[Canner]) -> Decision:
    if facts.is_low_acid or Canner.BOILING_WATER not in canners:
        return Decision("STEAM-CANNER-LOW-ACID")
    longest = max(band for row in seen_rows(facts) for band in minutes_of(row))
    return Decision(
        "STEAM-CANNER" if longest <= STEAM_MINUTES else "STEAM-CANNER-LONG", f"Its longest time is {longest} minutes."
    )


def minutes_of(row: ProcessRow) -> list[int]:
    """Every printed time of a boiling-water row, or the one time of a pressure row."""
    if row.method is Method.BOILING_WATER:
        return [band.minutes for band in row.minutes_bands]
    return [row.minutes] if row.minutes is not None else []


def judge_process(facts: Facts, change: Change) -> Decision:
    if change.word in ("shorter", "skip"):
        code = "PROCESS-SHORTER" if change.word == "shorter" else "PROCESS-SKIP"
        return Decision("FREEZER-SHELF" if facts.is_freezer and change.word != "skip" else code)
    printed = [minutes for row in seen_rows(facts) for minutes in minutes_of(row)]
    if facts.is_freezer or not printed:
        return Decision("FREEZER-SHELF" if facts.is_freezer else "NOT-COVERED")
    if change.word == "longer":
        return Decision("PROCESS-LONGER")
    if change.factor is None or change.factor < min(printed):
        return Decision("PROCESS-SHORTER", f"The shortest printed time is {min(printed)} minutes.")
    if change.factor < max(printed):
        return Decision("PROCESS-ALTITUDE", f"The printed times run from {min(printed)} to {max(printed)} minutes.")
    return Decision("PROCESS-ENOUGH" if change.factor == max(printed) else "PROCESS-LONGER")


def judge_pressure(facts: Facts, change: Change) -> Decision:
    if facts.is_freezer:
        return Decision("FREEZER-SHELF")
    bands = [band.psi for row in seen_rows(facts) for band in (*row.dial, *row.weighted) if band.psi is not None]
    if not bands:
        return Decision("PRESSURE-FOR-BOILING")
    if change.word == "higher":
        return Decision("PROCESS-LONGER")
    if change.word == "lower" or change.factor is None or change.factor < min(bands):
        return Decision("PROCESS-SHORTER", f"The lowest printed pressure is {min(bands)} psi.")
    return Decision("PROCESS-ALTITUDE" if change.factor < max(bands) else "PROCESS-ENOUGH")


def judge_headspace(facts: Facts, change: Change) -> Decision:
    printed = {facts.recipe.headspace_in, *(row.headspace_in for row in seen_rows(facts))}
    same = change.factor in printed and len(printed) == 1
    return Decision("HEADSPACE-SAME" if same else "HEADSPACE")


def judge_practice(facts: Facts, change: Change) -> Decision:
    code = change.word
    if code == "BOIL-LONGER" and not facts.is_spread:
        return Decision("PREP-CHANGED")
    if code == "PECTIN-ORDER" and not facts.has_pectin:
        return Decision("NOT-UNDERSTOOD")
    if code == "FREEZE-INSTEAD" and facts.is_freezer:
        return Decision("NO-CHANGE")
    if code == "FREEZER-SHELF" and not facts.is_freezer:
        return Decision("NOT-UNDERSTOOD")
    return Decision(code)


def judge_accident(facts: Facts, change: Change) -> Decision:
    """What went wrong with jars; of food that is not surely acid it is said first that it is thrown away."""
    careful = facts.is_low_acid or facts.is_mixture or facts.has_borderline_fruit
    return Decision(change.word, LOW_ACID_STOOD if careful else "")


def judge_acidity(facts: Facts, change: Change) -> Decision:
    """A vinegar's strength in percent; "weaker" has none."""
    if change.factor is None or change.factor < 5:
        return Decision("VINEGAR-WEAK")
    if change.factor > STRONGEST_VINEGAR or not facts.with_kind({Kind.VINEGAR}):
        return Decision("NOT-UNDERSTOOD" if change.factor > STRONGEST_VINEGAR else "NOT-IN-RECIPE")
    found = vinegar_rule(read_phrase(change.item), float(change.factor))
    return Decision("VINEGAR-STRONG" if found == "VINEGAR-KIND" else found)


# One row of the table must hold jar, pack and method together.
def covers(facts: Facts, jar: str | None, pack: str | None, canner: str | None) -> bool:
    for row in seen_rows(facts):
        fits_jar = jar is None or JAR_ML[row.jar] >= JAR_ML[jar]
        fits_pack = pack is None or row.pack is Pack(pack)
        wanted = Method.PRESSURE if canner == "pressure" else Method.BOILING_WATER
        if fits_jar and fits_pack and (canner is None or row.method is wanted):
            return True
    return False


def is_jar(word: str) -> bool:
    return word in JAR_SIZES
