"""Deciding: less of something, more of it, none of it, a new amount, something put in, another form of it."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from recipes.engine.changes.facts import (
    FRUIT_PACKS,
    TEASPOON_ML,
    Facts,
    Line,
    factor_after,
    millilitres,
    new_preps,
    ratio_to,
    total_of,
    unrelated,
)
from recipes.engine.changes.foods import (
    ACIDS,
    BOTTLED,
    CANNED,
    DRIED,
    FRESH,
    FROZEN,
    HOMEMADE,
    LOW_ACID,
    MASHED,
    PECTINS,
    SALTS,
    SWEETENED,
    Food,
    Kind,
    Phrase,
    read_phrase,
)
from recipes.engine.changes.normalise import lemmas
from recipes.engine.changes.terms import ADDED, BARE, LITTLE, Act, Change, Decision
from recipes.engine.process import process_choices
from recipes.engine.quantities import Amount
from recipes.engine.terms import Pack, Role

HALF = Fraction(1, 2)
_PRODUCE = frozenset({Role.FRUIT, Role.LOW_ACID, Role.SPICE})
MOST_BUTTER_ML = TEASPOON_ML / 2
MOST_SPICE_ML = TEASPOON_ML * 12  # a quarter cup
MOST_SUGAR_FACTOR = Fraction(3, 2)
MOST_SPICE_FACTOR = Fraction(4)


def less(facts: Facts, lines: Sequence[Line], factor: Fraction | None, *, none: bool) -> list[Decision]:
    """For less of these lines; `factor` is new over old where it is known, `none` when all of it goes."""
    gone = none and leaves_nothing(facts, lines)
    return [Decision("VEGETABLE-MAIN")] if gone else [Decision(_less(facts, line, factor, none)) for line in lines]


def more(facts: Facts, lines: Sequence[Line], factor: Fraction | None, extra: Amount | None) -> list[Decision]:
    """For more of these lines; `extra` is what is added, where it is known."""
    return [Decision(_more(facts, line, factor, extra)) for line in lines]


def set_to(facts: Facts, lines: Sequence[Line], amount: Amount) -> list[Decision]:
    if len({line.phrase.kinds for line in lines}) > 1:  # "1 lb peppers" is none of the ground pepper
        lines = [line for line in lines if ratio_to([line], amount) is not None] or lines
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
        phrase = read_phrase(change.item)
        return set_to(facts, lines, change.amount) + [d for line in lines for d in preparation(line, phrase)]
    if change.act is Act.MORE:
        factor = change.factor or (factor_after(lines, change.other_amount, 1) if change.other_amount else None)
        return more(facts, lines, factor, change.other_amount)
    return less(facts, lines, _left(lines, change), none=change.act is Act.OMIT)


def preparation(line: Line, phrase: Phrase) -> list[Decision]:
    """The refusal of produce cut, sized, peeled or cooked in a way that its line does not say; empty where it does."""
    preps = new_preps(line, phrase)
    return [Decision("PREP-PEEL" if "unpeeled" in preps else "PREP-CHANGED")] if preps else []


def _left(lines: Sequence[Line], change: Change) -> Fraction | None:
    """ "Less sugar, 3 cups" may mean by or to: the smaller of the two counts."""
    if change.factor is not None or change.other_amount is None:
        return change.factor
    after = factor_after(lines, change.other_amount, -1)
    if after is None or change.word == "by":
        return after
    return 1 - after if after < _HARDLY_ANY else min(after, 1 - after)


_HARDLY_ANY = Fraction(1, 4)  # "a little less sugar: 6 cups" of 7 is not 6 cups off


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
    first = set(lemmas(facts.recipe.produce[0])) if facts.recipe.produce else set()
    main = {line for line in facts.lines if first & line.phrase.words and line.role in _PRODUCE}
    return any(line.role in _PRODUCE for line in lines) and (
        bool(main) and main <= set(lines) or bool(produce) and produce <= set(lines)
    )


def _produce_less(facts: Facts, line: Line) -> str:
    if facts.is_fermented:
        return "SALT-FERMENT"
    if line.role is Role.LOW_ACID:
        return _vegetable_less(facts)
    if facts.is_mixture and Kind.DRIED_FRUIT in line.phrase.kinds:
        return "NOT-COVERED"
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


def fat_more(facts: Facts, extra: Amount | None, factor: Fraction | None = None, *, is_little: bool = False) -> str:
    """Butter against foam: half a teaspoon to a pot of spread, with what the recipe has."""
    there = total_of(facts.with_role(Role.FAT), "ml")
    added = millilitres(extra)
    if added is None and factor is not None and there:
        added = there * (factor - 1)
    if extra is None and factor is None and is_little and facts.is_spread:
        return "FAT-FOAM"
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


# Something put in.

# Additions that no recipe allows, whatever it is. The order is that of telling: the plainest reason first.
_ALWAYS: dict[Kind, str] = {
    Kind.PUREE: "NEVER-PUREE",
    Kind.OIL: "NEVER-OIL",
    Kind.DAIRY: "NEVER-DAIRY",
    Kind.EGG: "NEVER-EGGS",
    Kind.MEAT: "NEVER-MEAT-FISH",
    Kind.FISH: "NEVER-MEAT-FISH",
    Kind.BROTH: "NEVER-MEAT-FISH",
    Kind.GRAIN: "NEVER-PASTA-RICE",
    Kind.STARCH: "NEVER-STARCH",
    Kind.BREAD: "NEVER-BREAD",
    Kind.READY: "READY-DISH",
    Kind.ALKALI: "ALKALI",
    Kind.NUT: "NUT-ADD",
    Kind.CHOCOLATE: "CHOCOLATE-ADD",
    Kind.ALCOHOL: "ALCOHOL-ADD",
    Kind.SAUCE: "SAUCE-ADD",
    Kind.DRINK: "DRINK-ADD",
    Kind.ADDITIVE: "ADDITIVE",
    Kind.GUM: "GUM-ADD",
    Kind.ALUM: "ALUM",
    Kind.OTHER_ACID: "ACID-OTHER",
    Kind.TOMATO: "TOMATO-AMOUNT",
    Kind.GREEN_TOMATO: "TOMATO-AMOUNT",
    Kind.TOMATO_PRODUCT: "TOMATO-PASTE",
    Kind.DRIED_FRUIT: "FRUIT-DRIED",
    Kind.BORDERLINE: "FRUIT-LOW-ACID",
    Kind.FRESH_ROOT: "HERB-FRESH-MORE",
    Kind.COLOUR: "COLOUR",
    Kind.UNFIT_SALT: "SALT-UNFIT",
    Kind.LOW_SUGAR_PECTIN: "PECTIN-LOW-SUGAR",
}
_AGAINST_BROWNING = frozenset({"ascorbic acid", "vitamin c"})
_VEGETABLES: dict[Kind, str] = {
    Kind.VEGETABLE: "VEGETABLE-ADD",
    Kind.LEGUME: "VEGETABLE-ADD",
    Kind.PUMPKIN: "VEGETABLE-ADD",
    Kind.SUMMER_SQUASH: "NEVER-SUMMER-SQUASH",
    Kind.ALLIUM: "ALLIUM-ADD",
    Kind.PEPPER: "PEPPER-ADD",
}
_SURE_VINEGARS = frozenset({"white", "cider", "distilled", "spirit", "acv"})
_WEAK_WORDS = frozenset(
    {
        "homemade",
        "kombucha",
        "cleaning",
        "pickling",
        "herb",
        "fruit",
        "seasoned",
        "raspberry",
        "tarragon",
        "infused",
        "flavored",
    }
)


def judge_add(facts: Facts, change: Change) -> list[Decision]:
    """More of what the recipe has, or each food by its class; a word that is not known is refused."""
    phrase = read_phrase(change.item)
    decisions = [Decision(add_rule(facts, food, phrase, change.amount)) for food in phrase.foods]
    if phrase.kinds == {Kind.BUTTER} and change.word == LITTLE and not change.per_jar:
        decisions = [Decision(fat_more(facts, None, is_little=True))]
    counted = change.amount is not None and change.amount.unit != "each" and not change.per_jar
    on_top = change.word == ADDED and not facts.is_acidified_alone and counted
    if phrase.kinds & ACIDS and change.amount and not on_top and facts.with_role(Role.ACID):
        # "Put in 1 cup vinegar", "1 tbsp lemon juice a quart": as likely all of the acid as some more of it.
        acids = facts.with_role(Role.ACID)
        same = all(phrase.kinds & line.phrase.kinds for line in acids)
        found = set_to(facts, acids, change.amount) if same else []
        less = [decision for decision in found if decision.code == "ACID-LESS"]
        return decisions + (found if found and not less else [Decision("ACID-DOUBT")] if change.word == ADDED else less)
    kin = {Kind.PEPPER, Kind.ALLIUM, Kind.LEGUME} & phrase.kinds
    if change.word == BARE and change.amount is None and kin and facts.with_kind(kin) and phrase.is_known:
        return [Decision("SAY-WHICH")]
    lines = () if phrase.unknown else facts.find(change.item, widely=False)
    lines = () if unrelated(lines, phrase) else lines
    if lines and not phrase.kinds & LOW_ACID:
        there = more(facts, lines, factor_after(lines, change.amount, 1) if change.amount else None, change.amount)
        decisions = there + [d for d in decisions if d.code == "VINEGAR-UNKNOWN"]
        decisions += [decision for line in lines for decision in preparation(line, phrase)]
    elif lines and change.word == BARE and (change.amount is None or (ratio_to(lines, change.amount) or 2) <= 1):
        decisions = [Decision("SAY-WHICH")]
    elif lines:
        decisions = [Decision("VEGETABLE-MORE")]
    if not phrase.is_known:
        decisions.append(Decision("NOT-COVERED"))
    return decisions


def add_rule(facts: Facts, food: Food, phrase: Phrase, amount: Amount | None) -> str:
    """The rule for one food that is put in."""
    kind = food.kind
    plain_fruit = facts.is_high_acid_fruit and not facts.with_role(Role.ACID)
    if food.name in _AGAINST_BROWNING and plain_fruit and not (amount and is_too_much(amount, TEASPOON_ML * 2)):
        return "ASCORBIC-COLOUR"
    if kind in _ALWAYS:
        return _ALWAYS[kind]
    if kind in _VEGETABLES:
        return "PRESSURE-MIX" if facts.is_low_acid else _VEGETABLES[kind]
    if kind is Kind.LOW_FRUIT:
        return low_fruit(food)
    if kind in SALTS:
        return _salt(facts, kind)
    if kind in PECTINS:
        return "PECTIN-MORE" if facts.is_spread else "NEVER-STARCH"
    return _by_kind(facts, food, phrase, amount)


def _by_kind(facts: Facts, food: Food, phrase: Phrase, amount: Amount | None) -> str:
    kind = food.kind
    if kind is Kind.SPICE:
        return spice_added(amount)
    if kind in (Kind.HERB, Kind.FLAVOUR):
        return _flavour(facts, kind, amount)
    if kind is Kind.BUTTER:
        return fat_more(facts, amount)
    if kind is Kind.MODIFIED_STARCH:
        return "STARCH-MORE" if facts.with_kind({kind}) else "NEVER-STARCH"
    if kind in (Kind.VINEGAR, Kind.CITRUS_JUICE, Kind.CITRIC):
        if kind is Kind.VINEGAR and vinegar_rule(phrase, None) == "VINEGAR-UNKNOWN":
            return "VINEGAR-UNKNOWN"
        return "ACID-FRESH" if kind is Kind.CITRUS_JUICE and phrase.forms & {FRESH, HOMEMADE} else acid_more(facts)
    if kind in (Kind.FRUIT, Kind.CITRUS):
        return _fruit(facts, kind)
    if kind in (Kind.WATER, Kind.JUICE):
        return liquid_more(facts, water=kind is Kind.WATER)
    if kind is Kind.FIRMING:
        crisp = (facts.is_pickle or facts.is_fruit_pack or facts.has_tomato) and not facts.is_fermented
        return "CALCIUM-CRISP" if crisp else "NOT-COVERED"
    return _sweet(facts, kind)


def low_fruit(food: Food) -> str:
    """The rule for a fruit low in acid, by its name."""
    if "white" in food.name:
        return "FRUIT-WHITE-PEACH"
    return "FRUIT-ELDERBERRY" if "elderberry" in food.name else "FRUIT-LOW-ACID"


def _salt(facts: Facts, kind: Kind) -> str:
    if facts.is_fermented:
        return "SALT-FERMENT"
    if kind is Kind.SALT_SUBSTITUTE:
        return "SALT-SUBSTITUTE"
    return "SALT-TASTE" if facts.is_low_acid or facts.is_acidified_alone else "SALT-MORE"


def _flavour(facts: Facts, kind: Kind, amount: Amount | None) -> str:
    if kind is Kind.HERB:
        little = amount is not None and amount.unit != "each" and not is_too_much(amount, TEASPOON_ML)
        return "HERB-TEASPOON" if little and facts.is_high_acid_spread else "HERB-FRESH-MORE"
    if amount is not None and is_too_much(amount, TEASPOON_ML):
        return "FLAVOUR-MORE"
    if facts.is_high_acid_spread:
        return "HERB-TEASPOON"
    return "FLAVOUR-FRUIT" if facts.is_high_acid_fruit else "FLAVOUR-MORE"


def _fruit(facts: Facts, kind: Kind) -> str:
    if facts.is_high_acid_spread:
        return "FRUIT-ADD-SPREAD"
    if facts.is_mixture:
        return "FRUIT-IN-MIXTURE"
    if kind is Kind.CITRUS and facts.is_high_acid_fruit:
        return "FLAVOUR-FRUIT"  # a slice of lemon
    return "FRUIT-OTHER-PROCESS" if facts.is_fruit_pack else "NOT-COVERED"


def _sweet(facts: Facts, kind: Kind) -> str:
    sauce = facts.kind == "sauce" and facts.is_high_acid_fruit and not facts.with_role(Role.THICKENER)
    needs_none = facts.is_fruit_pack or facts.has_tomato or facts.is_pickle or sauce
    if kind is Kind.SUGAR:
        return sugar_more(facts, None)
    if kind is Kind.SYRUP:
        return "SUGAR-MORE-SPREAD" if facts.is_spread else "SUGAR-MORE" if facts.is_high_acid_fruit else "NOT-COVERED"
    if kind is Kind.OTHER_SWEET:
        return "SYRUP-STRONG" if facts.is_fruit_pack or sauce else "SWEETENER-NOT-TESTED"
    if kind is Kind.NO_SUGAR_SWEET:
        fits = needs_none and not facts.is_spread and not facts.is_fermented
        return "SWEETENER-FRUIT" if fits else "SWEETENER-SPREAD" if facts.is_spread else "SWEETENER-NOT-TESTED"
    return "NOT-COVERED"


def vinegar_rule(phrase: Phrase, percent: float | None) -> str:
    """Whether a vinegar, by its name and the strength that was said, is one that tests were made with."""
    if percent is not None and percent < 5:
        return "VINEGAR-WEAK"
    if phrase.forms - {BOTTLED, HOMEMADE}:  # dried, powdered, frozen: not what was tested
        return "VINEGAR-UNKNOWN"
    if phrase.words & _WEAK_WORDS or HOMEMADE in phrase.forms:
        return "VINEGAR-UNKNOWN"
    names = {word for food in phrase.foods if food.kind is Kind.VINEGAR for word in food.name.split()}
    if names == {"vinegar"} or (names & _SURE_VINEGARS and not names & {"wine", "rice", "balsamic"}):
        return "VINEGAR-KIND"
    return "VINEGAR-OTHER" if percent is not None else "VINEGAR-UNKNOWN"


# Frozen, canned, dried, bottled or fresh food in place of what was tested.

_FORMED = frozenset(
    {
        Kind.FRUIT,
        Kind.BORDERLINE,
        Kind.JUICE,
        Kind.TOMATO,
        Kind.GREEN_TOMATO,
        Kind.PEPPER,
        Kind.ALLIUM,
        Kind.VEGETABLE,
        Kind.LEGUME,
    }
)


def judge_form(facts: Facts, change: Change) -> list[Decision]:
    """A form without a food: "canned for fresh". It is taken of everything it can be said of."""
    if change.word == "frozen":
        return [Decision(_frozen(facts))]
    if change.word == "canned":
        return [Decision(_canned(facts))]
    if change.word == "dried":
        return _dried(facts)
    if change.word == "bottled":
        return [Decision("ACID-BOTTLED" if _has_citrus(facts) else "NOT-IN-RECIPE")]
    if preps := read_phrase(change.word).preps:  # "diced instead of sliced"
        printed = any(preps <= line.phrase.preps for line in facts.lines[:1])
        return [Decision("PREP-WHOLE" if printed else "PREP-CHANGED")]
    return [Decision(_fresh(facts, change.other))]


def form_in_phrase(facts: Facts, food: Food, phrase: Phrase) -> str | None:
    """The rule for the form that a phrase gives its food ("frozen strawberries"), or None where it gives none."""
    if MASHED in phrase.forms and food.kind in _FORMED - {Kind.JUICE}:
        return "PREP-CHANGED"
    if food.kind not in _FORMED or not phrase.forms & {FROZEN, CANNED, DRIED, SWEETENED}:
        return None
    if SWEETENED in phrase.forms or DRIED in phrase.forms:
        return "NOT-COVERED"
    return _frozen(facts) if FROZEN in phrase.forms else _canned(facts)


def _frozen(facts: Facts) -> str:
    if facts.has_tomato or facts.is_low_acid or facts.is_mixture or not facts.with_role(Role.FRUIT):
        return "TOMATO-FROZEN" if facts.has_tomato else "NOT-COVERED"
    if facts.is_fruit_pack and facts.kind != "juice":
        hot = Pack.HOT in process_choices(facts.recipe.process).packs
        return "FRUIT-FROZEN-SOFT" if hot else "NOT-COVERED"
    return "FRUIT-FROZEN" if facts.is_spread or facts.is_high_acid_fruit else "NOT-COVERED"


def _canned(facts: Facts) -> str:
    return "FRUIT-CANNED" if facts.is_high_acid_spread and facts.has_pectin else "CANNED-OTHER"


def _dried(facts: Facts) -> list[Decision]:
    found = []
    if any(line.is_fresh_herb for line in facts.lines):
        found.append(Decision("HERB-DRIED-FOR-FRESH"))
    if facts.with_role(Role.FRUIT):
        found.append(Decision("FRUIT-DRIED"))
    if facts.with_role(Role.LOW_ACID):
        found.append(Decision("NOT-COVERED"))
    return found or [Decision("NOT-COVERED")]


def _fresh(facts: Facts, instead_of: str) -> str:
    if instead_of in ("frozen", "canned"):
        return "FRUIT-FRESH" if facts.is_high_acid_fruit else "NOT-COVERED"
    if instead_of == "dried":
        return "HERB-FRESH-FOR-DRIED"
    return "ACID-FRESH" if _has_citrus(facts) else "NOT-UNDERSTOOD"


def _has_citrus(facts: Facts) -> bool:
    return bool(facts.with_kind({Kind.CITRUS_JUICE}))
