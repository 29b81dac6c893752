"""Deciding: one thing in place of another, and things simply "used"."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction

from recipes.engine.changes.allowed import allows
from recipes.engine.changes.facts import (
    TEASPOON_ML,
    Facts,
    Line,
    converted,
    new_preps,
    ratio_to,
    total_of,
    unrelated,
)
from recipes.engine.changes.foods import (
    ACIDS,
    BOTTLED,
    DRIED,
    FRESH,
    HOMEMADE,
    LOW_ACID,
    PECTINS,
    SALTS,
    SWEETS,
    Food,
    Kind,
    Phrase,
    read_phrase,
    without_percent,
)
from recipes.engine.changes.judge_food import (
    add_rule,
    fat_more,
    form_in_phrase,
    is_too_much,
    judge_add,
    leaves_nothing,
    less,
    low_fruit,
    preparation,
    set_to,
    spice_added,
    sugar_less,
    vinegar_rule,
)
from recipes.engine.changes.normalise import lemmas
from recipes.engine.changes.terms import ALL, BARE, FOR, HALVES, LITTLE, ORDER, PART, Act, Change, Decision, Ruling
from recipes.engine.changes.vocabulary import CHANGE_RULES
from recipes.engine.quantities import Amount, ConversionError, convert
from recipes.engine.terms import Role

_ANOTHER = frozenset(
    {"another", "other", "different", "kind", "type", "variety", "one", "a", "sort", "any", "some", "else", "brand"}
)
_FORM_WORDS = frozenset(
    {"fresh", "frozen", "canned", "dried", "bottled", "raw", "ones", "freshly", "squeezed", "tinned"}
)
# "White vinegar instead of cider": vinegars named by their kind alone.
_VINEGARS = frozenset({"apple", "cider", "white", "distilled", "red", "wine", "malt", "rice"})
_NOTHING = frozenset({"", "nothing", "none", "no"})
# What "another one" of a family means.
_OF_ITS_KIND = (
    (Kind.PEPPER, "peppers"),
    (Kind.SPICE, "spice"),
    (Kind.SUGAR, "brown sugar"),
    (Kind.FRUIT, "other fruit"),
    (Kind.TOMATO, "tomato"),
)
_FRUITLIKE = frozenset({Kind.FRUIT, Kind.LOW_FRUIT, Kind.BORDERLINE})


def judge_swap(facts: Facts, change: Change) -> list[Decision]:
    """The worst over every line meant and every food named; both directions where the words do not say which."""
    old, new = facts.find(without_percent(change.item)), facts.find(without_percent(change.other))
    old = old or facts.with_words(set(lemmas(change.item)))
    described = read_phrase(change.item)
    new_kinds = read_phrase(change.other).kinds
    if unrelated(new, read_phrase(change.other)):
        new = ()  # "paste tomatoes" are no tomato paste
    if not described.foods and any(line.phrase.kinds & new_kinds for line in old):
        old = tuple(line for line in old if line.phrase.kinds & new_kinds)  # "yellow onions instead of white"
    elif not described.foods and new_kinds & LOW_ACID and facts.with_kind(new_kinds):
        old = ()  # "red onions instead of white": not the white vinegar
    only_described = not described.foods and not described.unknown and not described.forms
    # "Frozen strawberries for fresh", "red onions instead of yellow": the food is named once.
    if not old and change.item and (set(change.item.split()) <= _FORM_WORDS or only_described):
        return judge_use(facts, Change(Act.USE, change.other, amount=change.other_amount, text=change.text))
    if not old and set(change.item.split()) <= _VINEGARS and Kind.VINEGAR in read_phrase(change.other).kinds:
        return judge_use(facts, Change(Act.USE, change.other, amount=change.other_amount, text=change.text))
    if change.word == HALVES and not old and not new:  # "half raspberries, half strawberries" of "berries"
        return judge_use(facts, Change(Act.USE, change.item)) + judge_use(facts, Change(Act.USE, change.other))
    turned = Change(
        Act.SWAP, change.other, change.item, change.other_amount, change.amount, change.factor, text=change.text
    )
    if change.either_way and new and not old:
        return _swap(facts, new, turned)
    if (change.either_way or change.word == FOR) and new and old:
        return _either_way(facts, old, new, change, turned)
    if not old:
        return _nothing_to_swap(facts, change)
    return _swap(facts, old, change)


def _either_way(
    facts: Facts, old: Sequence[Line], new: Sequence[Line], change: Change, turned: Change
) -> list[Decision]:
    """Both directions of a swap of which the words do not say what goes and what comes."""
    described, kinds = read_phrase(change.item), read_phrase(change.other).kinds
    if not (described.foods or described.unknown or described.forms) and len(kinds) == 1:
        named = new if kinds == {Kind.SPICE} else [line for line in old if line.phrase.kinds & kinds]
        if named:
            return _swap(facts, named, change)  # "ground cloves for whole", "orange peppers for the red ones"
    if set(new) != set(old):
        return _swap(facts, old, change) + _swap(facts, new, turned)
    # One food on both sides, as in "mashed pears for pears": of produce either may be what goes in. Fresh alone is
    # what each line means.
    is_fresh = not described.foods and not described.preps and described.forms <= {FRESH}
    produce = [] if is_fresh else [line for line in old if line.role in (Role.FRUIT, Role.LOW_ACID)]
    return _swap(facts, old, change) + (_swap(facts, produce, turned) if produce else [])


def _nothing_to_swap(facts: Facts, change: Change) -> list[Decision]:
    """What takes the place of something absent is an addition; allowed or not, the recipe has no such thing."""
    named = read_phrase(without_percent(change.item))
    if named.foods and named.unknown:  # "instead of lemon juice, only 1 tbsp": there, and more was said of it
        return [Decision("NOT-UNDERSTOOD")]
    added = judge_add(facts, Change(Act.ADD, without_percent(change.other), amount=change.other_amount))
    refused = [decision for decision in added if CHANGE_RULES[decision.code].verdict is Ruling.REFUSED]
    return refused or [Decision("NOT-IN-RECIPE")]


def _swap(facts: Facts, lines: Sequence[Line], change: Change) -> list[Decision]:
    words = without_percent(change.other)
    if words in _NOTHING:
        return less(facts, lines, Fraction(0), none=True)
    if words and set(words.split()) <= _ANOTHER:
        return [decision for line in lines for decision in _another(facts, line, change)]
    phrase = read_phrase(words)
    decisions = [] if phrase.is_known else [Decision("NOT-COVERED")]
    return decisions + [decision for line in lines for decision in _one(facts, line, phrase, change)]


def _another(facts: Facts, line: Line, change: Change) -> list[Decision]:
    for kind, words in _OF_ITS_KIND:
        if kind in line.phrase.kinds:
            return _one(facts, line, read_phrase(words), change)
    if Kind.ALLIUM in line.phrase.kinds and "onion" in line.phrase.words:
        return [Decision("ONION-SWAP")]
    return [Decision("NOT-COVERED")]


def _one(facts: Facts, line: Line, phrase: Phrase, change: Change) -> list[Decision]:
    found = []
    for food in phrase.foods:
        if form := form_in_phrase(facts, food, phrase):
            found.append(Decision(form))
        if line.role is not Role.ACID and food.kind in ACIDS and change.other_amount:
            # A measure of acid beside a line that is none may as well be all the acid that is meant.
            found += set_to(facts, facts.with_role(Role.ACID), change.other_amount)
        if line.role is Role.ACID:
            found.append(Decision(acid_swap(facts, line, food, phrase, change)))
        elif line.role is Role.LOW_ACID:
            found.append(Decision(vegetable_swap(facts, line, food, phrase, change)))
        elif line.role is Role.FRUIT:
            found.append(Decision(fruit_swap(facts, line, food, phrase, change)))
        else:
            found.append(Decision(shelf_swap(facts, line, food, phrase, change)))
    return found + preparation(line, phrase)


def judge_use(facts: Facts, change: Change) -> list[Decision]:
    """ "Use honey", "use frozen strawberries", "use 5 cups sugar": by what the recipe holds."""
    phrase = read_phrase(change.item)
    if change.word == BARE and phrase.unknown:
        return [Decision("NOT-UNDERSTOOD")]
    if phrase.preps and not (phrase.foods or phrase.forms or phrase.unknown):  # "sliced"
        produce = [*facts.with_role(Role.FRUIT), *facts.with_role(Role.LOW_ACID)]
        is_printed = len(produce) == 1 and phrase.preps <= produce[0].phrase.preps
        return [Decision("PREP-WHOLE" if is_printed else "PREP-CHANGED")]
    if phrase.kinds & {Kind.WATER} and facts.with_role(Role.ACID) and not change.amount:
        return [Decision("BRINE-RATIO")]  # perhaps in place of the acid
    if phrase.kinds == {Kind.WATER} and facts.is_syrup_pack and not change.amount:
        return [Decision("LIQUID-FRUIT")]
    if change.word == BARE and not change.amount and phrase.words & _COMPARED and phrase.kinds == {Kind.PEPPER}:
        change = replace(change, word=ALL)  # "milder peppers": than the recipe's, in their place
    if change.word == ALL and (kin := _kin(facts, phrase)):
        measured = [line for line in kin if change.amount and ratio_to([line], change.amount) is not None] or kin
        amount = set_to(facts, measured, change.amount) if change.amount else []
        return _swap(facts, kin, _for_lines(change)) + amount
    if phrase.kinds & LOW_ACID and change.word in (BARE, LITTLE, PART):
        if change.word == BARE and not change.amount and _is_sort_of_main(facts, phrase):
            return [Decision("SAME-FOOD"), *(d for line in facts.find(change.item) for d in preparation(line, phrase))]
        return judge_add(facts, change)  # "bell peppers" alone: more likely more of them
    return _use_food(facts, change, phrase)


def _use_food(facts: Facts, change: Change, phrase: Phrase) -> list[Decision]:
    """The food takes the place of the lines that it is named as, or of those near to it, or comes on top."""
    lines = facts.find(change.item)
    same = all(food.name in {known.name for line in lines for known in line.phrase.foods} for food in phrase.foods)
    same_or_plain = same or phrase.words == {"vinegar"}
    as_printed = not phrase.forms and not any(new_preps(line, phrase) for line in lines)
    if change.word == BARE and lines and same_or_plain and not change.amount and as_printed:
        is_same = _is_as_printed(lines, phrase) or phrase.kinds == {Kind.SPICE}  # more of a spice would do no harm
        return [Decision("NO-CHANGE" if is_same else "NOT-UNDERSTOOD")]
    if change.amount and lines and phrase.is_known:
        swapped = [] if same and as_printed else _swap(facts, lines, _for_lines(change))
        return set_to(facts, lines, change.amount) + swapped
    if not lines and phrase.is_known and (near := _near(facts, phrase)):
        return _swap(facts, near, replace(_for_lines(change), other_amount=change.amount))
    return _swap(facts, lines, _for_lines(change)) if lines else judge_add(facts, change)


def _is_as_printed(lines: Sequence[Line], phrase: Phrase) -> bool:
    """ "Organic sugar", "raspberries" of "blackberries or raspberries": what the recipe has, and no more of it said."""
    names = {word for food in phrase.foods for word in food.name.split()}
    named = any("or" in line.ingredient.item.split() for line in lines)
    return not phrase.kinds & (ACIDS | SALTS | LOW_ACID) and bool(named or phrase.words - names)


def _is_sort_of_main(facts: Facts, phrase: Phrase) -> bool:
    """ "Golden beets" alone: a sort of the one food that the recipe is of, which nobody would add to itself."""
    names = {food.name for food in phrase.foods}
    lines = [line for line in facts.lines if all(_same_sort(line, food) for food in phrase.foods)]
    words = {word for name in names for word in name.split()}
    is_sort = phrase.words - words or not any(names & {known.name for known in line.phrase.foods} for line in lines)
    told = is_sort and not phrase.forms
    return bool(phrase.is_known and told and len(lines) == 1 and leaves_nothing(facts, lines))


_COMPARED = frozenset({"milder", "hotter", "spicier", "sweeter"})


def _kin(facts: Facts, phrase: Phrase) -> tuple[Line, ...]:
    """ "All red peppers": the lines of the same kind, which they take the place of."""
    if not phrase.is_known or phrase.unknown:
        return ()
    return facts.with_kind(phrase.kinds & {Kind.PEPPER, Kind.ALLIUM, Kind.SUGAR, Kind.VINEGAR, Kind.TOMATO})


def _for_lines(change: Change) -> Change:
    """A food in place of the lines; "all honey" is in place of all of the sugar."""
    is_all = change.word == ALL and read_phrase(change.item).kinds <= SWEETS
    factor = Fraction(1) if is_all else None
    return Change(Act.SWAP, change.item, without_percent(change.item), factor=factor, text=change.text)


def _near(facts: Facts, phrase: Phrase) -> tuple[Line, ...]:
    """The lines that a thing would take the place of: an acid's, a fruit's; a vegetable takes nobody's."""
    if phrase.kinds <= ACIDS | {Kind.CITRUS, Kind.OTHER_ACID}:
        return facts.with_role(Role.ACID)
    if phrase.kinds <= _FRUITLIKE:
        return facts.with_kind(_FRUITLIKE)
    if phrase.kinds <= {Kind.PEPPER}:
        return facts.with_kind({Kind.PEPPER})
    if phrase.kinds <= {Kind.ALLIUM, Kind.LEGUME}:  # "use wax beans", for green ones
        return tuple(line for line in facts.lines if all(_same_sort(line, food) for food in phrase.foods))
    if phrase.kinds <= {Kind.TOMATO, Kind.GREEN_TOMATO}:
        return facts.with_kind({Kind.TOMATO, Kind.GREEN_TOMATO})
    return ()


def worst_of(decisions: Sequence[Decision]) -> Decision:
    """The decision that weighs most; of equals the first."""
    return max(decisions, key=lambda decision: ORDER.index(CHANGE_RULES[decision.code].verdict))


# Acid.

_PERCENT = r"([0-9]+(?:[.,][0-9]+)?) ?%"
CITRIC_TSP_A_TBSP = Fraction(1, 4)


def acid_swap(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    """The rule for one acid line and one food in its place; the measure counts where it is given."""
    if change.amount is not None and ratio_to([line], change.amount) != 1:
        return "ACID-LESS"  # not the tested measure: whether the rest of it stays is not known
    if food.kind is Kind.CITRIC:
        return _citric(facts, line, change)
    if food.kind is Kind.VINEGAR:
        return _vinegar(facts, line, phrase, change)
    all_bottled = BOTTLED in phrase.forms or change.item.endswith(" bottled")  # "lime for lemon (bottled)"
    if food.kind is Kind.CITRUS_JUICE or (food.kind is Kind.CITRUS and all_bottled):
        return _juice(facts, line, food, phrase, change)
    return "ACID-FRESH" if food.kind is Kind.CITRUS else "ACID-OTHER"


def percent_said(change: Change) -> float | None:
    found = re.search(_PERCENT, f"{change.other} {change.item}")
    return float(found[1].replace(",", ".")) if found else None


def _juice(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    if phrase.forms & {FRESH, HOMEMADE}:
        return "ACID-FRESH"
    if phrase.forms - {BOTTLED}:  # dried, powdered, frozen: not what was tested
        return "ACID-OTHER"
    kinds = line.phrase.kinds
    if kinds & {Kind.CITRUS_JUICE, Kind.CITRUS}:
        rule = _other_citrus(line, food, phrase)
    elif Kind.VINEGAR in kinds and facts.is_salsa:
        rule = "ACID-LEMON-FOR-VINEGAR" if BOTTLED in phrase.forms else "ACID-NOT-BOTTLED"
    elif Kind.CITRIC in kinds and facts.is_acidified_alone:
        return _enough(line, change, "ACID-TOMATO-CITRIC", tbsp_for_tsp=True)
    else:
        return "ACID-OTHER"
    return rule if _at_least(line, change, Fraction(1)) is not False else "ACID-LESS"


def _other_citrus(line: Line, food: Food, phrase: Phrase) -> str:
    same_fruit = bool({"lemon", "lime"} & set(food.name.split()) & line.phrase.words)
    if BOTTLED in phrase.forms or food.kind is Kind.CITRUS:  # "lime for lemon (bottled)" says it of both
        return "ACID-BOTTLED" if same_fruit else "ACID-LEMON-LIME"
    # Juice that is not said to be bottled may be fresh; where the recipe does not ask for bottled, it is as tested.
    return "NO-CHANGE" if same_fruit and not line.is_bottled else "ACID-NOT-BOTTLED"


def _vinegar(facts: Facts, line: Line, phrase: Phrase, change: Change) -> str:
    if Kind.VINEGAR in line.phrase.kinds:
        enough = _at_least(line, change, Fraction(1)) is not False
        return vinegar_rule(phrase, percent_said(change)) if enough else "ACID-LESS"
    sure = vinegar_rule(phrase, percent_said(change)) in ("VINEGAR-KIND", "VINEGAR-OTHER")
    doubled = _at_least(line, change, Fraction(2)) is True and Kind.CITRUS_JUICE in line.phrase.kinds
    return (
        "ACID-TOMATO-VINEGAR" if allows(facts, "ACID-TOMATO-VINEGAR") and sure and doubled else "ACID-VINEGAR-FOR-LEMON"
    )


def _citric(facts: Facts, line: Line, change: Change) -> str:
    if Kind.CITRUS_JUICE not in line.phrase.kinds or not allows(facts, "ACID-TOMATO-CITRIC"):
        return "ACID-OTHER"
    return _enough(line, change, "ACID-TOMATO-CITRIC", tbsp_for_tsp=False)


def _enough(line: Line, change: Change, rule: str, *, tbsp_for_tsp: bool) -> str:
    """A stated measure of citric acid for juice, or of juice for citric acid, must reach 1/4 tsp for 1 tbsp."""
    if change.other_amount is None:
        return rule
    replaced = change.amount or Amount(line.ingredient.amount, line.ingredient.unit)
    new, old = _in_tsp(change.other_amount), _in_tsp(replaced)
    if new is None or old is None:
        return "CANNOT-COMPARE"
    needed = old * 12 if tbsp_for_tsp else old / 12
    return rule if new >= needed else "ACID-LESS"


def _in_tsp(amount: Amount) -> Fraction | None:
    try:
        return convert(amount.value, amount.unit, "tsp")
    except ConversionError:
        return None


def _at_least(line: Line, change: Change, times: Fraction) -> bool | None:
    """Whether the new measure is at least `times` what it replaces; None when no measure is given."""
    if change.other_amount is None:
        return None
    if change.amount is not None:
        new, old = _in_tsp(change.other_amount), _in_tsp(change.amount)
        return new is not None and old is not None and new >= old * times and ratio_to([line], change.amount) == 1
    ratio = ratio_to([line], change.other_amount)
    share = change.factor if change.factor is not None else Fraction(1)
    return ratio is not None and ratio >= times * share


# Produce.

_BULB_ONIONS = frozenset(
    {"onion", "white onion", "red onion", "yellow onion", "sweet onion", "brown onion", "vidalia", "vidalia onion"}
)
_SNAP_BEANS = frozenset(
    {
        "green bean",
        "yellow bean",
        "wax bean",
        "yellow wax bean",
        "snap bean",
        "string bean",
        "french bean",
        "italian bean",
        "purple bean",
        "purple string bean",
        "haricot vert",
        "kentucky wonder",
        "kentucky wonder bean",
        "blue lake bean",
    }
)
_SWEET_CORN = frozenset({"corn", "sweet corn"})
_TOMATOES = frozenset({Kind.TOMATO, Kind.GREEN_TOMATO, Kind.TOMATO_PRODUCT})


def vegetable_swap(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    """The rule for one low-acid line and one food in its place; no mash, not even of the line's own food."""
    if food.kind is Kind.PUREE:
        return "NEVER-PUREE"
    if food.kind is Kind.SPICE:
        if leaves_nothing(facts, [line]) or facts.is_low_acid:
            return "VEGETABLE-MAIN"
        is_dried_pepper = DRIED in phrase.forms and Kind.PEPPER in line.phrase.kinds
        return "SPICE-BULK" if is_dried_pepper and change.other_amount is None else spice_added(change.other_amount)
    rule = _same_sort(line, food)
    if rule:
        return _no_more(line, change, rule)
    if food.kind in line.phrase.kinds:
        return "VEGETABLE-SWAP"
    added = add_rule(facts, food, phrase, change.other_amount)
    return added if added.startswith(("NEVER", "READY", "NUT", "ALKALI")) else "VEGETABLE-SWAP"


def _same_sort(line: Line, food: Food) -> str | None:
    names = {known.name for known in line.phrase.foods}
    if food.kind is Kind.PEPPER and Kind.PEPPER in line.phrase.kinds:
        return "PEPPER-SWAP"
    if food.name in _BULB_ONIONS and names & _BULB_ONIONS:
        return "ONION-SWAP"
    if food.name in _SNAP_BEANS and names & _SNAP_BEANS:
        return "BEAN-COLOUR"
    if food.name in _SWEET_CORN and names & _SWEET_CORN:
        return "SAME-FOOD"
    return "SAME-FOOD" if food.name in names else None


def _no_more(line: Line, change: Change, rule: str) -> str:
    """A swap is of equal measure; a stated measure must not be more than what it replaces."""
    if change.other_amount is None:
        return rule
    replaced = change.amount
    if replaced is not None and replaced.unit == change.other_amount.unit:
        within = change.other_amount.value <= replaced.value and (ratio_to([line], replaced) or 1) <= 1
        return rule if within else "VEGETABLE-MORE"
    ratio = ratio_to([line], change.other_amount)
    if ratio is None:
        return "CANNOT-COMPARE"
    return rule if ratio <= (change.factor or 1) else "VEGETABLE-MORE"


_RAISINS = frozenset({"raisin", "sultana"})


def fruit_swap(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    """The rule for one fruit or tomato line and one food in its place."""
    if line.phrase.kinds & _TOMATOES:
        return _tomato_swap(facts, line, food, phrase, change)
    if food.kind is Kind.LOW_FRUIT:
        return low_fruit(food)
    if food.kind is Kind.BORDERLINE:
        return "SAME-FOOD" if food.name in {known.name for known in line.phrase.foods} else "FRUIT-LOW-ACID"
    if food.kind in (Kind.FRUIT, Kind.JUICE):
        return _high_acid_swap(facts, line, food)
    if food.kind is Kind.DRIED_FRUIT and _RAISINS & line.phrase.words and _RAISINS & phrase.words:
        return "SAME-FOOD"
    return _refused_or(add_rule(facts, food, phrase, change.other_amount))


def _high_acid_swap(facts: Facts, line: Line, food: Food) -> str:
    if food.name == "fruit" or food.name in {known.name for known in line.phrase.foods}:
        return "SAME-FOOD"
    if food.name == "berry" and any(known.name.endswith("berry") for known in line.phrase.foods):
        return "SAME-FOOD"
    own = set(lemmas(f"{line.ingredient.item} {line.ingredient.prep}"))
    if set(food.name.split()) <= own:  # "cherries, sweet or sour"
        return "SAME-FOOD"
    if any(_is_sort_of(food.name.split(), known.name.split()) for known in line.phrase.foods):
        return "SAME-FOOD"
    if facts.is_high_acid_spread:
        return "FRUIT-SWAP"
    if facts.is_mixture:
        return "FRUIT-IN-MIXTURE"
    return "FRUIT-OTHER-PROCESS" if facts.is_high_acid_fruit else "NOT-COVERED"


_GREEN_TOMATOES = frozenset({"green tomato", "unripe tomato"})


_OTHER_FRUIT = frozenset({"crab"})  # a crab apple is no sort of apple


def _is_sort_of(sort: Sequence[str], food: Sequence[str]) -> bool:
    """Whether a name is another with a word before it: "bosc pear" is a pear."""
    return list(sort[-len(food) :]) == list(food) and not set(sort) & _OTHER_FRUIT


def _tomato_swap(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    kinds = line.phrase.kinds
    if food.kind in (Kind.TOMATO, Kind.GREEN_TOMATO) and change.other_amount is not None:
        ratio = ratio_to([line], change.other_amount)
        if ratio is None or ratio != (change.factor or 1):
            return "TOMATO-AMOUNT"
    if food.kind is Kind.TOMATO:
        return "TOMATO-KIND" if Kind.TOMATO in kinds else "TOMATO-RIPE"
    if food.kind is Kind.GREEN_TOMATO:
        if facts.is_acidified_alone and food.name not in _GREEN_TOMATOES:
            return "TOMATILLO-ALONE"
        return "TOMATO-GREEN" if kinds & {Kind.TOMATO, Kind.GREEN_TOMATO} else "TOMATO-AMOUNT"
    if food.kind is Kind.TOMATO_PRODUCT:
        return "NO-CHANGE" if food.name in {known.name for known in line.phrase.foods} else "CANNED-OTHER"
    return _refused_or(add_rule(facts, food, phrase, change.other_amount))


def _refused_or(code: str) -> str:
    """What is allowed beside the produce is not allowed instead of it."""
    allowed_beside = {
        "SPICE-DRY",
        "COLOUR",
        "ACID-MORE",
        "ACID-MORE-SET",
        "SUGAR-MORE",
        "SUGAR-MORE-SPREAD",
        "LIQUID-SET",
    }
    allowed_beside |= {
        "LIQUID-FRUIT",
        "SALT-MORE",
        "SALT-TASTE",
        "HERB-TEASPOON",
        "FLAVOUR-FRUIT",
        "FAT-FOAM",
        "CALCIUM-CRISP",
    }
    allowed_beside |= {"FRUIT-ADD-SPREAD", "PECTIN-MORE", "SYRUP-STRONG", "SWEETENER-FRUIT", "SALT-SUBSTITUTE"}
    return "VEGETABLE-MAIN" if code in allowed_beside else code


# Sugar, pectin, salt, spice, fat, thickener, liquid.

_SAME_SUGARS = frozenset(
    {"white", "granulated", "cane", "beet", "table", "organic", "caster", "castor", "superfine", "preserving"}
)
_STRONG = frozenset({"molass", "molasses", "maple", "sorghum", "treacle"})


def shelf_swap(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    """The rule for one line that is neither acid nor produce, and one food in its place."""
    return _BY_ROLE[line.role](facts, line, food, phrase, change)


def _sugar_swap(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    if food.kind not in (Kind.SUGAR, Kind.SYRUP, Kind.OTHER_SWEET, Kind.NO_SUGAR_SWEET, Kind.JUICE, Kind.WATER):
        added = add_rule(facts, food, phrase, change.other_amount)
        return "NOT-COVERED" if food.kind in PECTINS else added
    if facts.is_low_acid or facts.is_fermented:
        return "NOT-COVERED"
    if food.kind is Kind.SUGAR:
        return "SUGAR-SAME" if set(food.name.split()) - {"sugar"} <= _SAME_SUGARS else "SUGAR-KIND"
    if food.kind is Kind.SYRUP:
        lean = facts.is_spread and not facts.is_high_acid_spread
        if lean:
            return "SUGAR-LESS-LOWACID-SPREAD"
        if facts.is_spread and not _is_part_honey(facts, line, change):
            return "HONEY-MOST"
        return "HONEY-PICKLE" if facts.is_pickle or facts.has_tomato else "HONEY-FOR-SUGAR"
    if food.kind is Kind.OTHER_SWEET:
        strong = facts.is_fruit_pack and set(food.name.split()) & _STRONG
        return "SYRUP-STRONG" if strong else "SWEETENER-NOT-TESTED"
    if food.kind is Kind.NO_SUGAR_SWEET:
        return "SWEETENER-FRUIT" if allows(facts, "SWEETENER-FRUIT") else _no_sugar_swap(facts)
    if food.kind is Kind.JUICE:
        return "LIQUID-FRUIT" if facts.is_fruit_pack else "NOT-COVERED"
    return sugar_less(facts, None if change.factor is None else 1 - change.factor)


MOST_HONEY_CUPS = 2


def _is_part_honey(facts: Facts, line: Line, change: Change) -> bool:
    """Whether honey takes only that part of a spread's sugar that is published: 2 cups with pectin, half without."""
    if change.factor is None and not (change.amount or change.other_amount):
        return True  # how much is not said; the rule that is shown says how much may be
    sugar = total_of([line], "cup")
    replaced = change.amount
    if replaced is None and change.factor is not None and sugar is not None:
        replaced = Amount(sugar * change.factor, "cup")
    said = [amount for amount in (replaced, change.other_amount) if amount is not None]
    cups = [converted(amount, "cup") for amount in said]
    if replaced is None or sugar is None or any(cup is None for cup in cups):
        return False
    most = Fraction(MOST_HONEY_CUPS) if facts.has_pectin else sugar / 2
    return all(cup is not None and cup <= most for cup in cups)


def _no_sugar_swap(facts: Facts) -> str:
    if facts.is_spread or facts.is_freezer:
        return "SWEETENER-SPREAD"
    sauce = facts.kind == "sauce" and facts.is_high_acid_fruit and not facts.with_role(Role.THICKENER)
    needs_none = facts.is_fruit_pack or facts.is_pickle or facts.has_tomato or sauce
    return "SWEETENER-FRUIT" if needs_none else "SWEETENER-NOT-TESTED"


def _pectin(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    if food.kind not in PECTINS:
        added = add_rule(facts, food, phrase, change.other_amount)
        return added if added in ("GUM-ADD", "NEVER-STARCH", "NEVER-PUREE") else "NOT-COVERED"
    if food.kind is Kind.LOW_SUGAR_PECTIN:
        return "PECTIN-LOW-SUGAR"
    if HOMEMADE in phrase.forms or "bulk" in phrase.words or food.kind is Kind.PECTIN:
        return "NOT-COVERED"
    is_liquid = food.kind is Kind.LIQUID_PECTIN
    return "PECTIN-SAME" if (facts.recipe.pectin == "liquid") == is_liquid else "PECTIN-KIND"


def _salt(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    if food.kind not in SALTS:
        return add_rule(facts, food, phrase, change.other_amount)
    if food.kind is Kind.UNFIT_SALT:
        return "SALT-UNFIT"
    if food.kind is Kind.SALT:
        return "SALT-TABLE" if phrase.words & {"table", "iodized", "iodised", "fine"} else "SALT-CANNING"
    if facts.is_fermented:
        return "SALT-FERMENT"
    return "SALT-COARSE" if food.kind is Kind.COARSE_SALT else "SALT-SUBSTITUTE"


def _spice(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    if line.is_fresh_herb:
        if food.kind is Kind.SPICE:
            return "HERB-DRIED-FOR-FRESH"
        same = any(set(food.name.split()) <= set(known.name.split()) for known in line.phrase.foods)
        unclear = FRESH in phrase.forms and FRESH not in line.phrase.forms and line.ingredient.unit in ("tsp", "tbsp")
        if same and unclear:  # a spoonful of "oregano" may be the dried herb
            return "HERB-FRESH-FOR-DRIED"
        return "NO-CHANGE" if same and not change.other_amount else add_rule(facts, food, phrase, change.other_amount)
    if food.kind is Kind.SPICE:
        return spice_added(change.other_amount)
    small = change.other_amount is not None and not is_too_much(change.other_amount, TEASPOON_ML)
    if food.kind is Kind.HERB and not (small and facts.is_high_acid_spread):
        return "HERB-FRESH-FOR-DRIED"
    return add_rule(facts, food, phrase, change.other_amount)


def _fat(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    if food.kind is not Kind.BUTTER:
        return add_rule(facts, food, phrase, change.other_amount)
    return "FAT-FOAM" if change.other_amount is None else fat_more(facts, change.other_amount)


def _thickener(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    same = (
        food.name in {known.name for known in line.phrase.foods}
        or food.kind is Kind.MODIFIED_STARCH in line.phrase.kinds
    )
    if same and "instant" not in phrase.words:
        return "NO-CHANGE" if change.other_amount is None else "CANNOT-COMPARE"
    return "STARCH-KIND"


_APPLE_JUICES = frozenset({"apple juice", "apple cider", "cider"})  # cider is fresh apple juice in a US recipe


def _liquid(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    simple = food.kind in (Kind.WATER, Kind.JUICE, Kind.SYRUP)
    if food.kind in (Kind.VINEGAR, Kind.CITRUS_JUICE):
        stronger = facts.is_pickle and not facts.is_fermented and Kind.WATER in line.phrase.kinds
        return "BRINE-STRONGER" if stronger else "LIQUID-OTHER"
    if not simple:
        added = add_rule(facts, food, phrase, change.other_amount)
        return (
            added
            if added.startswith(("NEVER", "READY", "ALCOHOL", "ALKALI", "DRINK", "SAUCE", "ACID-OTHER"))
            else "LIQUID-OTHER"
        )
    if facts.is_fruit_pack:
        return "LIQUID-FRUIT"
    same = food.kind is Kind.WATER in line.phrase.kinds
    same = same or (food.name in _APPLE_JUICES and any(known.name in _APPLE_JUICES for known in line.phrase.foods))
    same = same or (food.kind is Kind.JUICE and food.name in {known.name for known in line.phrase.foods})
    if same and not phrase.forms - {BOTTLED, FRESH}:
        return "NO-CHANGE" if change.other_amount is None else "CANNOT-COMPARE"
    return "LIQUID-SET" if facts.is_high_acid_spread and food.kind is not Kind.SYRUP else "LIQUID-OTHER"


def _none(facts: Facts, line: Line, food: Food, phrase: Phrase, change: Change) -> str:
    return "NOT-COVERED"


_BY_ROLE: dict[Role, Callable[[Facts, Line, Food, Phrase, Change], str]] = {
    Role.SUGAR: _sugar_swap,
    Role.PECTIN: _pectin,
    Role.SALT: _salt,
    Role.SPICE: _spice,
    Role.FAT: _fat,
    Role.THICKENER: _thickener,
    Role.LIQUID: _liquid,
    Role.FRUIT: _none,
    Role.LOW_ACID: _none,
    Role.ACID: _none,
}
