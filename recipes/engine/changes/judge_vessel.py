"""Deciding: jar, pack, pot, canner, time, pressure, headspace, ways of working, accidents; and changes together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction

from recipes.engine.changes.facts import Facts, millilitres, ratio_to, total_of
from recipes.engine.changes.foods import ACIDS, LOW_ACID, TOMATOES, Kind, read_phrase
from recipes.engine.changes.judge_food import HALF, MOST_BUTTER_ML, MOST_SPICE_ML, vinegar_rule
from recipes.engine.changes.normalise import lemmas
from recipes.engine.changes.terms import ALL, Act, Change, Decision, Ruling
from recipes.engine.changes.vocabulary import CHANGE_RULES
from recipes.engine.process import process_choices
from recipes.engine.quantities import JAR_ML, JAR_SIZES
from recipes.engine.terms import Canner, Method, Pack, ProcessRow, Role

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
    """A canner, and the minutes in it where they are said; minutes that are told of the recipe only have to be its."""
    found = _canner(facts, change)
    printed = [minutes for row in seen_rows(facts) for minutes in minutes_of(row)]
    if change.told and printed and change.told[0] < min(printed):
        return Decision("PROCESS-SHORTER", f"The shortest printed time is {min(printed)} minutes.")
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
    named = set(lemmas(change.item)) <= _ANY_FOOD | set(lemmas(facts.recipe.kind))
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
    """Minutes, or longer or shorter; `item` is the canner where one was said with them."""
    canners = process_choices(facts.recipe.process).canners
    if change.item == "boiling-water" and not facts.is_freezer and Canner.BOILING_WATER not in canners:
        return Decision("BOILING-FOR-PRESSURE")
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
    """A way of working by its own rule; where it does not fit the recipe, by another."""
    kept = facts.recipe.kept_cold
    if change.word == "FREEZE-INSTEAD" and kept is not None and kept.freezer_months is None:
        return Decision("FREEZE-NOT-PRINTED")
    fits, otherwise = _FITS.get(change.word, (_always, ""))
    return Decision(change.word if fits(facts) else otherwise)


def _always(facts: Facts) -> bool:
    return True


def _is_prepared(*prepared: str) -> Callable[[Facts], bool]:
    """Whether the recipe prepares something so: what a tool has to serve."""
    return lambda facts: bool({word for line in facts.lines for word in lemmas(line.ingredient.prep)} & set(prepared))


def _may_stay_whole(facts: Facts) -> bool:
    """Whether the first line is of whole food, or a step leaves it whole or cuts it."""
    steps = " ".join(step.text.lower() for step in facts.recipe.steps)
    return "whole" in facts.lines[0].phrase.preps or "leave them whole or" in steps


_CUTS = (
    "chopped",
    "sliced",
    "grated",
    "shredded",
    "diced",
    "minced",
    "ground",
    "crushed",
    "cubed",
    "halved",
    "quartered",
)
# Which recipes a way of working fits, and the rule of the others.
_FITS: dict[str, tuple[Callable[[Facts], bool], str]] = {
    "SLOW-COOKER-BUTTER": (lambda facts: "butter" in facts.kind and not facts.has_borderline_fruit, "SLOW-COOKER"),
    "BOIL-LONGER": (lambda facts: facts.is_spread, "PREP-CHANGED"),
    "PECTIN-ORDER": (lambda facts: facts.has_pectin, "NOT-UNDERSTOOD"),
    "FREEZE-INSTEAD": (lambda facts: not facts.is_freezer, "NO-CHANGE"),
    "FREEZER-SHELF": (lambda facts: facts.is_freezer, "NOT-UNDERSTOOD"),
    "JAR-UNFIT": (lambda facts: not facts.is_freezer, "JAR-FREEZER"),
    "STORE-COOL": (lambda facts: not facts.is_freezer, "FREEZER-SHELF"),
    "EAT-IN-YEAR": (lambda facts: not facts.is_freezer, "NOT-COVERED"),
    "FOAM-SKIM": (lambda facts: facts.is_spread, "NOT-COVERED"),
    "ASCORBIC-COLOUR": (lambda facts: facts.is_high_acid_fruit and not facts.with_role(Role.ACID), "NOT-COVERED"),
    "ACID-LATER": (lambda facts: bool(facts.with_role(Role.ACID)), "THICKEN-LATER"),
    "PREP-WHOLE": (_may_stay_whole, "PREP-CHANGED"),
    "TOOLS-CUT": (_is_prepared(*_CUTS), "PREP-CHANGED"),
    "TOOLS-PEEL": (_is_prepared("peeled", "pitted", "cored", "stemmed", "capped"), "PREP-CHANGED"),
    "TOOLS-SIEVE": (_is_prepared("pressed", "strained", "extracted", "juiced"), "PREP-CHANGED"),
}


_STRENGTHS = ("very light", "light", "medium", "heavy", "very heavy")


def judge_syrup(facts: Facts, change: Change) -> Decision:
    """Another strength of syrup; what the recipe has stands in the preparation of its sugar or water."""
    if not facts.is_syrup_pack:
        return Decision("NOT-IN-RECIPE")
    preps = " ".join(line.ingredient.prep for line in facts.lines)
    printed = next((name for name in reversed(_STRENGTHS) if f"for {name} syrup" in preps), "")
    if printed == change.word:
        return Decision("NO-CHANGE")
    lighter = printed and _STRENGTHS.index(change.word) < _STRENGTHS.index(printed)
    return Decision("SUGAR-LESS-SYRUP" if lighter else "SUGAR-MORE")


def judge_accident(facts: Facts, change: Change) -> Decision:
    """What went wrong with jars; of food that is not surely acid it is said first that it is thrown away."""
    careful = change.word != "ACCIDENT-SET" and (facts.is_low_acid or facts.is_mixture or facts.has_borderline_fruit)
    return Decision(change.word, CHANGE_RULES["LOW-ACID-STOOD"].statement if careful else "")


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


# Together.

Judged = Sequence[tuple[Change, str]]

# Each weakens the set or the keeping of a spread; two of them together make another product.
_WEAKENS = frozenset(
    {
        "SUGAR-LESS-PECTIN",
        "SUGAR-LESS-PLAIN",
        "HONEY-FOR-SUGAR",
        "PECTIN-LESS",
        "PECTIN-ORDER",
        "FRUIT-CANNED",
        "FRUIT-SWAP",
        "FRUIT-ADD-SPREAD",
        "FRUIT-AMOUNT",
        "LIQUID-SET",
        "ACID-MORE-SET",
        "SUGAR-MORE-SPREAD",
    }
)
_ACID_UP = frozenset({"ACID-MORE", "ACID-MORE-SET"})
_VEGETABLE_UP = frozenset({"VEGETABLE-MORE", "VEGETABLE-ADD", "ALLIUM-ADD", "PEPPER-ADD", "HERB-FRESH-MORE"})
_LESS_SUGAR = frozenset({"SUGAR-LESS-SOFT", "HONEY-FOR-SUGAR", "SUGAR-KIND"})


def judge_together(facts: Facts, judged: Judged) -> dict[int, str]:
    """The stricter code for each change, by its place, that the company of the others asks for."""
    found: dict[int, str] = {}
    for rule in (
        _set,
        _sugar_and_starch,
        _acid_and_vegetable,
        _sugar_twice,
        _fat_twice,
        _spice_twice,
        _part_of_a_pot,
        _vessel,
    ):
        for place, code in rule(facts, judged).items():
            found.setdefault(place, code)
    return found


def _places(judged: Judged, codes: frozenset[str]) -> list[int]:
    return [place for place, (_, code) in enumerate(judged) if code in codes]


def _set(facts: Facts, judged: Judged) -> dict[int, str]:
    places = _places(judged, _WEAKENS)
    different = {judged[place][1] for place in places}
    return dict.fromkeys(places, "TOGETHER-SET") if facts.is_spread and len(different) > 1 else {}


def _sugar_and_starch(facts: Facts, judged: Judged) -> dict[int, str]:
    sugar, starch = _places(judged, _LESS_SUGAR), _places(judged, frozenset({"STARCH-LESS"}))
    both = sugar and starch and facts.with_role(Role.THICKENER)
    return dict.fromkeys(sugar + starch, "TOGETHER-SUGAR-STARCH") if both else {}


def _acid_and_vegetable(facts: Facts, judged: Judged) -> dict[int, str]:
    vegetables = _places(judged, _VEGETABLE_UP)
    return dict.fromkeys(vegetables, "TOGETHER-ACID-VEGETABLE") if _places(judged, _ACID_UP) and vegetables else {}


def _sugar_twice(facts: Facts, judged: Judged) -> dict[int, str]:
    """Several cuts of sugar count as their product."""
    left, places = Fraction(1), []
    for place, (change, code) in enumerate(judged):
        if code in ("SUGAR-LESS-PECTIN", "SUGAR-LESS-PLAIN"):
            places.append(place)
            left *= _sugar_left(facts, change)
    return dict.fromkeys(places, "SUGAR-HALF") if len(places) > 1 and left < HALF else {}


def _sugar_left(facts: Facts, change: Change) -> Fraction:
    if change.factor is not None:
        return change.factor
    if change.amount is not None:
        return ratio_to(facts.find(change.item), change.amount) or Fraction(1)
    return Fraction(3, 4)  # "less sugar" without a number: taken as a quarter less


def _fat_twice(facts: Facts, judged: Judged) -> dict[int, str]:
    places = _places(judged, frozenset({"FAT-FOAM"}))
    there = total_of(facts.with_role(Role.FAT), "ml") or Fraction(0)
    added = sum((millilitres(judged[place][0].amount) or Fraction(0) for place in places), there)
    return dict.fromkeys(places, "FAT-ADD") if len(places) > 1 and added > MOST_BUTTER_ML else {}


def _spice_twice(facts: Facts, judged: Judged) -> dict[int, str]:
    places = [
        place
        for place in _places(judged, frozenset({"SPICE-DRY"}))
        if judged[place][0].act in (Act.ADD, Act.USE) and Kind.SPICE in read_phrase(judged[place][0].item).kinds
    ]
    added = sum((millilitres(judged[place][0].amount) or Fraction(0) for place in places), Fraction(0))
    return dict.fromkeys(places, "SPICE-BULK") if len(places) > 1 and added > MOST_SPICE_ML else {}


def _part_of_a_pot(facts: Facts, judged: Judged) -> dict[int, str]:
    """ "Halve the recipe, onions 3 cups": the measure may be of either pot, so it was compared with the wrong one."""
    smaller = _places(judged, frozenset({"POT-HALF", "POT-HALF-SPREAD", "POT-WITHIN"}))
    measured = [
        place
        for place, (change, _) in enumerate(judged)
        if (change.amount or change.other_amount or change.word == ALL) and _balance_of(change) and place not in smaller
    ]
    return dict.fromkeys(measured, "TOGETHER-POT") if smaller and measured else {}


def _balance_of(change: Change) -> bool:
    kinds = read_phrase(change.item).kinds | read_phrase(change.other).kinds
    return bool(kinds & (LOW_ACID | ACIDS | TOMATOES))


def _vessel(facts: Facts, judged: Judged) -> dict[int, str]:
    """Jar, pack and canner must share a row of the process table."""
    if facts.is_freezer:
        return {}
    chosen = {
        act: [p for p, (change, _) in enumerate(judged) if change.act is act] for act in (Act.JAR, Act.PACK, Act.CANNER)
    }
    places = [place for found in chosen.values() for place in found]
    if len(places) < 2:
        return {}
    words = {act: judged[found[-1]][0].word if found else None for act, found in chosen.items()}
    jar = words[Act.JAR] if words[Act.JAR] and is_jar(words[Act.JAR] or "") else None
    if covers(facts, jar, words[Act.PACK], words[Act.CANNER]):
        return {}
    return dict.fromkeys(places, "TOGETHER-JAR-PACK")
