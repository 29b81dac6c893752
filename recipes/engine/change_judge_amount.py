"""Deciding: less of something, more of it, none of it, or a new amount."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from recipes.engine.change_facts import FRUIT_PACKS, Facts, Line
from recipes.engine.change_kinds import Kind
from recipes.engine.change_measure import TEASPOON_ML, factor_after, millilitres, ratio_to, total_of
from recipes.engine.change_terms import Act, Change
from recipes.engine.change_text import tokens
from recipes.engine.quantities import Amount
from recipes.engine.terms import Role

HALF = Fraction(1, 2)
_PRODUCE = frozenset({Role.FRUIT, Role.LOW_ACID, Role.SPICE})
MOST_BUTTER_ML = TEASPOON_ML / 2
MOST_SPICE_ML = TEASPOON_ML * 12  # a quarter cup
MOST_SUGAR_FACTOR = Fraction(3, 2)
MOST_SPICE_FACTOR = Fraction(4)


@dataclass(frozen=True)
class Decision:
    """A code of `CHANGE_RULES`, and what was found that led to it."""

    code: str
    detail: str = ""


def less(facts: Facts, lines: Sequence[Line], factor: Fraction | None, *, none: bool) -> list[Decision]:
    """For less of these lines; `factor` is new over old where it is known, `none` when all of it goes."""
    gone = none and leaves_nothing(facts, lines)
    return [Decision("VEGETABLE-MAIN")] if gone else [Decision(_less(facts, line, factor, none)) for line in lines]


def more(facts: Facts, lines: Sequence[Line], factor: Fraction | None, extra: Amount | None) -> list[Decision]:
    """For more of these lines; `extra` is what is added, where it is known."""
    return [Decision(_more(facts, line, factor, extra)) for line in lines]


def set_to(facts: Facts, lines: Sequence[Line], amount: Amount) -> list[Decision]:
    ratio = ratio_to(lines, amount)
    if ratio is None:
        return [Decision("CANNOT-COMPARE")]
    if ratio == 1:
        return [Decision("NO-CHANGE")]
    detail = f"That is {round(float(ratio) * 100)} % of the recipe's amount."
    found = less(facts, lines, ratio, none=False) if ratio < 1 else more(facts, lines, ratio, None)
    return [Decision(decision.code, detail) for decision in found]


def judge_amount(facts: Facts, change: Change, lines: Sequence[Line]) -> list[Decision]:
    """For LESS, OMIT, SET and MORE of something that the recipe has."""
    if change.act is Act.SET and change.amount:
        return set_to(facts, lines, change.amount)
    if change.act is Act.MORE:
        factor = change.factor or (factor_after(lines, change.other_amount, 1) if change.other_amount else None)
        return more(facts, lines, factor, change.other_amount)
    return less(facts, lines, _left(lines, change), none=change.act is Act.OMIT)


def _left(lines: Sequence[Line], change: Change) -> Fraction | None:
    """ "Less sugar, 3 cups" may mean by or to: the smaller of the two counts."""
    if change.factor is not None or change.other_amount is None:
        return change.factor
    after = factor_after(lines, change.other_amount, -1)
    return after if after is None or change.word == "by" else min(after, 1 - after)


def _less(facts: Facts, line: Line, factor: Fraction | None, none: bool) -> str:
    if line.role is Role.ACID or Kind.CITRUS in line.phrase.kinds:
        return acid_rule(facts)
    if line.ingredient.optional:
        return "OPTIONAL-OUT"
    simple = {Role.PECTIN: "PECTIN-LESS", Role.FAT: "FAT-LESS", Role.THICKENER: "STARCH-LESS"}
    if line.role in simple:
        return "NOT-COVERED" if Kind.OIL in line.phrase.kinds else simple[line.role]
    if line.role is Role.SUGAR:
        return sugar_less(facts, Fraction(0) if none else factor)
    if line.role is Role.SALT:
        return "SALT-FERMENT" if facts.is_fermented else "SALT-LESS-PICKLE" if facts.is_pickle else "SALT-LESS"
    if line.role is Role.LIQUID:
        return _liquid_less(facts, line, none)
    if line.role is Role.SPICE:
        return _spice_less(line)
    return _produce_less(facts, line)


def acid_rule(facts: Facts) -> str:
    """The refusal to lessen acid that says most about this recipe."""
    if facts.is_mixture or not facts.has_borderline_fruit:
        return "ACID-LESS"
    return "ACID-TOMATO" if facts.has_tomato else "ACID-FIG"


def sugar_less(facts: Facts, factor: Fraction | None) -> str:
    """Less sugar, by what sugar does in this kind of food; factor 0 is none at all."""
    if facts.is_low_acid:
        return "NOT-COVERED"
    if facts.is_freezer:
        return "SUGAR-LESS-FREEZER"
    if facts.is_spread:
        if not facts.is_high_acid_spread:
            return "SUGAR-LESS-LOWACID-SPREAD"
        if factor is not None and factor < HALF:
            return "SUGAR-HALF"
        return "SUGAR-LESS-PECTIN" if facts.has_pectin else "SUGAR-LESS-PLAIN"
    if facts.is_pickle:
        return "SUGAR-LESS-PICKLE"
    if facts.has_tomato or facts.is_salsa:
        return "SUGAR-TASTE"
    if facts.is_fruit_pack or (facts.is_acidified_alone and facts.kind in FRUIT_PACKS):
        return "SUGAR-NONE-FRUIT" if factor == 0 else "SUGAR-LESS-SYRUP"
    return "SUGAR-LESS-SOFT" if facts.is_high_acid_fruit else "NOT-COVERED"


def _liquid_less(facts: Facts, line: Line, none: bool) -> str:
    if facts.is_fermented:
        return "SALT-FERMENT"
    if facts.is_mixture:
        return "BRINE-STRONGER" if Kind.WATER in line.phrase.kinds else "NOT-COVERED"
    if facts.is_fruit_pack and not none:
        return "LIQUID-FRUIT"
    plain_fruit = facts.is_spread or (facts.is_high_acid_fruit and not facts.with_role(Role.THICKENER))
    return "LIQUID-SET" if plain_fruit and not facts.is_fruit_pack else "NOT-COVERED"


def _spice_less(line: Line) -> str:
    if Kind.SAUCE in line.phrase.kinds:
        return "NOT-COVERED"
    if Kind.COLOUR in line.phrase.kinds:
        return "COLOUR"
    return "HERB-LESS" if line.is_fresh_herb else "SPICE-DRY"


def leaves_nothing(facts: Facts, lines: Sequence[Line]) -> bool:
    """Whether without these lines nothing is left of what the recipe is of: its first produce, or all produce."""
    produce = set(facts.with_role(Role.FRUIT) + facts.with_role(Role.LOW_ACID))
    first = set(tokens(facts.recipe.produce[0])) if facts.recipe.produce else set()
    main = {line for line in facts.lines if first & line.phrase.words and line.role in _PRODUCE}
    return any(line.role in _PRODUCE for line in lines) and (
        bool(main) and main <= set(lines) or bool(produce) and produce <= set(lines)
    )


def _produce_less(facts: Facts, line: Line) -> str:
    if facts.is_fermented:
        return "SALT-FERMENT"
    if line.role is Role.LOW_ACID:
        return _vegetable_less(facts)
    if facts.is_mixture:
        tomato = line.phrase.kinds & {Kind.TOMATO, Kind.GREEN_TOMATO, Kind.TOMATO_PRODUCT}
        return "TOMATO-AMOUNT" if tomato else "FRUIT-IN-MIXTURE"
    if facts.is_high_acid_spread or facts.kind == "syrup":
        return "FRUIT-AMOUNT"
    alone = facts.is_acidified_alone or facts.is_fruit_pack or facts.kind == "sauce"
    return "LOAD" if alone and not facts.with_role(Role.THICKENER) else "NOT-COVERED"


def _vegetable_less(facts: Facts) -> str:
    if not facts.is_low_acid:
        return "VEGETABLE-LESS"
    return "LOAD" if len(facts.with_role(Role.LOW_ACID)) == 1 else "PRESSURE-MIX"


def _more(facts: Facts, line: Line, factor: Fraction | None, extra: Amount | None) -> str:
    simple = {Role.PECTIN: "PECTIN-MORE", Role.THICKENER: "STARCH-MORE", Role.LOW_ACID: "VEGETABLE-MORE"}
    if line.role in simple:
        return simple[line.role]
    if line.role is Role.ACID:
        return acid_more(facts)
    if line.role is Role.SUGAR:
        return sugar_more(facts, factor)
    if line.role is Role.SALT:
        return "SALT-FERMENT" if facts.is_fermented else "SALT-MORE"
    if line.role is Role.FAT:
        return fat_more(facts, extra, factor)
    if line.role is Role.LIQUID:
        return liquid_more(facts, water=Kind.WATER in line.phrase.kinds)
    if line.role is Role.SPICE:
        return _spice_more(line, factor, extra)
    return _fruit_more(facts, line)


def acid_more(facts: Facts) -> str:
    if facts.is_fermented:
        return "ACID-FERMENT"
    return "ACID-MORE-SET" if facts.is_spread or facts.is_low_acid else "ACID-MORE"


def sugar_more(facts: Facts, factor: Fraction | None) -> str:
    if facts.is_spread:
        return "SUGAR-MORE-SPREAD"
    if facts.is_low_acid or facts.is_fermented or (facts.is_mixture and (factor or 0) > MOST_SUGAR_FACTOR):
        return "NOT-COVERED"
    return "SUGAR-MORE"


def fat_more(facts: Facts, extra: Amount | None, factor: Fraction | None = None) -> str:
    """Butter against foam: half a teaspoon to a pot of spread, with what the recipe has."""
    there = total_of(facts.with_role(Role.FAT), "ml")
    added = millilitres(extra)
    if added is None and factor is not None and there:
        added = there * (factor - 1)
    fits = facts.is_spread and added is not None and there is not None and there + added <= MOST_BUTTER_ML
    return "FAT-FOAM" if fits else "FAT-ADD"


def liquid_more(facts: Facts, *, water: bool) -> str:
    if facts.is_mixture or facts.is_fermented:
        return "BRINE-RATIO" if water else "LIQUID-OTHER"
    if facts.is_fruit_pack:
        return "LIQUID-FRUIT"
    return "LIQUID-SET" if facts.is_high_acid_spread else "LIQUID-OTHER"


def _spice_more(line: Line, factor: Fraction | None, extra: Amount | None) -> str:
    if Kind.COLOUR in line.phrase.kinds:
        return "COLOUR"
    if Kind.SAUCE in line.phrase.kinds:
        return "SAUCE-ADD"
    if line.is_fresh_herb:
        return "HERB-FRESH-MORE"
    return "SPICE-BULK" if (factor or 0) > MOST_SPICE_FACTOR else spice_added(extra)


def spice_added(extra: Amount | None) -> str:
    return "SPICE-BULK" if extra and is_too_much(extra, MOST_SPICE_ML) else "SPICE-DRY"


def is_too_much(amount: Amount, most_ml: Fraction) -> bool:
    """Whether an amount is over a volume; pieces, pinches and weights up to 30 g pass, packets and cans do not."""
    volume = millilitres(amount)
    if volume is not None:
        return volume > most_ml
    if amount.unit in ("g", "oz"):
        return amount.value > (30 if amount.unit == "g" else 1)
    return amount.unit not in ("each", "stick", "sprig", "slice") or amount.value > 24


def _fruit_more(facts: Facts, line: Line) -> str:
    if line.phrase.kinds & {Kind.TOMATO, Kind.GREEN_TOMATO, Kind.TOMATO_PRODUCT}:
        return "TOMATO-AMOUNT"
    if facts.is_mixture:
        return "FRUIT-IN-MIXTURE"
    if facts.has_borderline_fruit:
        return "FRUIT-LOW-ACID"
    if facts.is_high_acid_spread or facts.kind == "syrup":
        return "FRUIT-AMOUNT"
    alone = facts.is_fruit_pack or facts.kind == "sauce"
    return "LOAD" if alone and not facts.with_role(Role.THICKENER) else "NOT-COVERED"
