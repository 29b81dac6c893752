"""May I change this? A proposed change to a tested recipe is fine, only changes quality, or is refused, and why.

    check_change(recipe, "omit sugar") -> Verdict
    check_changes(recipe, ["sugar 7 cups -> 5 cups", "jar pint"]) -> Checked

A text is read (`normalise`, `lexemes`, `read`, `ways`), each change is judged (`judge_food`, `judge_swap`,
`judge_vessel`) and said back (`say`).
Every word of a text is part of a reading, or the text is not understood; of two readings the worse
counts. Decisions rest on the recipe's roles, kind, method, pectin and produce, and on what the recipe itself allows;
never on its name. Words, foods, rules and their sources are data (`data/`), read at first use. Nothing here raises
for any text.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from recipes.engine.changes.allowed import Allowed, allowed_by, judge_allowed, pickable_foods
from recipes.engine.changes.facts import (
    Facts,
    as_spice,
    facts_of,
    for_the_pot,
    is_consumed,
    unrelated,
)
from recipes.engine.changes.foods import ACIDS, PECTINS, SALTS, SWEETS, Kind, Phrase, form_of, read_phrase
from recipes.engine.changes.judge_food import judge_add, judge_amount, judge_form
from recipes.engine.changes.judge_swap import judge_swap, judge_use, worst_of
from recipes.engine.changes.judge_vessel import (
    judge_accident,
    judge_acidity,
    judge_canner,
    judge_headspace,
    judge_jar,
    judge_pack,
    judge_pot,
    judge_practice,
    judge_pressure,
    judge_process,
    judge_syrup,
    judge_together,
)
from recipes.engine.changes.normalise import lemmas
from recipes.engine.changes.read import read
from recipes.engine.changes.say import GRAMMAR_HELP, nearest, said
from recipes.engine.changes.terms import (
    ABOUT,
    ADDED,
    ALL,
    BARE,
    HALVES,
    LITTLE,
    ORDER,
    PART,
    Act,
    Change,
    Checked,
    Decision,
    Ruling,
    Verdict,
    worst,
)
from recipes.engine.changes.vocabulary import CHANGE_RULES, words_of
from recipes.engine.terms import Role, TestedRecipe

__all__ = [
    "CHANGE_RULES",
    "GRAMMAR_HELP",
    "Act",
    "Allowed",
    "Change",
    "Checked",
    "Ruling",
    "Verdict",
    "allowed_by",
    "check_change",
    "check_changes",
    "checked_as_dict",
    "pickable_foods",
    "refuse_all",
]

_SINGLE: dict[Act, Callable[[Facts, Change], Decision]] = {
    Act.JAR: judge_jar,
    Act.PACK: judge_pack,
    Act.POT: judge_pot,
    Act.CANNER: judge_canner,
    Act.PROCESS: judge_process,
    Act.PRESSURE: judge_pressure,
    Act.HEADSPACE: judge_headspace,
    Act.PRACTICE: judge_practice,
    Act.SYRUP: judge_syrup,
    Act.ACIDITY: judge_acidity,
    Act.ACCIDENT: judge_accident,
}
_SEVERAL: dict[Act, Callable[[Facts, Change], list[Decision]]] = {
    Act.ADD: judge_add,
    Act.SWAP: judge_swap,
    Act.USE: judge_use,
    Act.FORM: judge_form,
}
_AMOUNTS = frozenset({Act.LESS, Act.MORE, Act.OMIT, Act.SET})
_OF_FOOD = frozenset({Act.ADD, Act.LESS, Act.MORE, Act.OMIT, Act.SET, Act.SWAP, Act.USE})


def check_change(recipe: TestedRecipe, change: str | Change) -> Verdict:
    """The verdict on one change, in words or already read; of several wishes in one text, the worst."""
    return check_changes(recipe, [change]).verdicts[0]


def check_changes(recipe: TestedRecipe, changes: Iterable[str | Change]) -> Checked:
    """A verdict on each change, and on what the changes do together, in the order they were given."""
    asked = list(changes)
    texts = [change.text if isinstance(change, Change) else change for change in asked]
    if not recipe.is_tested:
        return refuse_all(texts, "NOT-TESTED")
    facts = facts_of(recipe)
    chosen = [_worst_reading(facts, change) for change in asked]
    flat = [(at, change, decision) for at, group in enumerate(chosen) for change, decision in group]
    in_pot = [(for_the_pot(facts, change) or change, decision.code) for _, change, decision in flat]
    together = judge_together(facts, in_pot)
    found: list[list[tuple[Change, Decision]]] = [[] for _ in asked]
    for number, (at, change, decision) in enumerate(flat):
        found[at].append((change, Decision(together[number]) if number in together else decision))
    return Checked(tuple(_answer(facts, text, judged) for text, judged in zip(texts, found, strict=True)))


def refuse_all(changes: Iterable[str], code: str) -> Checked:
    """The same refusal of every change, for a recipe that is not to be made at all."""
    return Checked(tuple(CHANGE_RULES[code].answer(text) for text in changes))


def _worst_reading(facts: Facts, asked: str | Change) -> list[tuple[Change, Decision]]:
    """The changes of the reading that is judged the worst, each with its decision."""
    readings = [[asked]] if isinstance(asked, Change) else read(asked, facts.words)
    readings = [[as_spice(facts, change) for change in reading] for reading in readings]
    judged = [[(change, _decide(facts, change)) for change in reading] for reading in readings]
    judged = [pairs for pairs in judged if pairs]
    if not judged:
        text = asked.text if isinstance(asked, Change) else asked
        return [(Change(Act.UNREAD, text=text), Decision("NOT-UNDERSTOOD"))]
    worst_pairs = max(judged, key=_weight)
    return [(change, _beside_others(change, decision, len(worst_pairs))) for change, decision in worst_pairs]


def _beside_others(change: Change, decision: Decision, count: int) -> Decision:
    """Nobody leaves out what a recipe is of and wishes more besides: "pints, we do not eat many potatoes"."""
    is_talk = count > 1 and change.act is Act.OMIT and decision.code == "VEGETABLE-MAIN"
    return Decision("NOT-UNDERSTOOD") if is_talk else decision


def _weight(judged: Sequence[tuple[Change, Decision]]) -> tuple[int, bool]:
    """Refused weighs most; of two refusals the one that says why."""
    verdicts = [ORDER.index(CHANGE_RULES[decision.code].verdict) for _, decision in judged]
    return max(verdicts), all(decision.code not in _SAYS_LITTLE for _, decision in judged)


_SAYS_LITTLE = frozenset({"NOT-UNDERSTOOD", "NOT-IN-RECIPE", "NOT-COVERED", "CANNOT-COMPARE"})


def _answer(facts: Facts, text: str, judged: Sequence[tuple[Change, Decision]]) -> Verdict:
    """The worst of a text's answers, with the reading of all of it."""
    answers = [CHANGE_RULES[decision.code].answer(text, decision.detail) for _, decision in judged]
    answer = worst(answers)
    if answer.rule == "NOT-UNDERSTOOD":
        return replace(answer, nearest=nearest(facts, text))
    return replace(answer, reading="; ".join(dict.fromkeys(said(facts, change) for change, _ in judged)))


def _is_allowed(decision: Decision) -> bool:
    return CHANGE_RULES[decision.code].verdict is not Ruling.REFUSED


def _decide(facts: Facts, change: Change) -> Decision:
    """The decision on a change, for the whole pot; nothing is allowed that leaves a word of a food's name over."""
    in_pot = for_the_pot(facts, change)
    if _names_wild_mushrooms(change):
        return Decision("MUSHROOM-WILD")
    if change.act in _OF_FOOD and _counts_what_is_measured(change):
        return Decision("CANNOT-COMPARE")
    if in_pot is None:
        decision = _judge(facts, replace(change, amount=None, other_amount=None))
        return Decision("CANNOT-COMPARE") if _is_allowed(decision) else decision
    decision = judge_allowed(facts, in_pot) or _judge(facts, in_pot)
    if not _is_allowed(decision):
        return decision
    if not _accounts(facts, change):
        return Decision("NOT-UNDERSTOOD")
    return Decision("ACID-DOUBT") if _doubts_acid(facts, change) else decision


# What may describe an acid and leaves its strength as it is.
_SURE_OF_ACID = frozenset(
    words_of(
        "plain regular ordinary usual normal standard white distilled red organic good best quality brand name store "
        "own supermarket bought pure natural unsweetened generic pickling single"
    )
)


def _doubts_acid(facts: Facts, change: Change) -> bool:
    """Whether acid is named with an amount that is none, only a part of it, or a word that may weaken it."""
    if change.act not in _OF_FOOD:
        return False
    named = [phrase for name in (change.item, change.other) if (phrase := read_phrase(name)).kinds & ACIDS]
    lines = [line for line in facts.find(change.item) if line.role is Role.ACID]
    if not named and not lines:
        return False
    is_part = change.act is Act.SWAP and change.factor is not None and change.word != HALVES
    if change.word in (LITTLE, PART, ABOUT) or is_part:
        return bool(lines or facts.with_role(Role.ACID))
    if change.word in (ALL, BARE) and change.act is Act.MORE:
        return True
    return any(_odd_words(phrase) for phrase in named)


def _odd_words(phrase: Phrase) -> set[str]:
    names = {word for food in phrase.foods for word in food.name.split()}
    return {word for word in phrase.words - names - _SURE_OF_ACID if not form_of((word,)) and word.isalpha()}


_MEASURED = SALTS | SWEETS | ACIDS | {Kind.WATER, Kind.JUICE, Kind.OIL}


def _counts_what_is_measured(change: Change) -> bool:
    """ "500 salt": a number without a measure, of what nobody counts."""
    said = ((change.item, change.amount), (change.other or change.item, change.other_amount))
    return any(
        amount is not None and amount.unit == "each" and amount.value > 1 and _is_measured_food(name)
        for name, amount in said
    )


def _is_measured_food(name: str) -> bool:
    kinds = read_phrase(name).kinds
    return bool(kinds) and kinds <= _MEASURED


# Where mushrooms come from that nobody sold: they may be any kind.
_UNSOLD = frozenset(
    words_of(
        "wild foraged forage foraging hedgerow wood woods forest woodland field meadow pasture garden yard backyard "
        "lawn tree found find picked pick picking gathered gather hunted grew gave given give neighbor neighbour friend"
    )
)


def _names_wild_mushrooms(change: Change) -> bool:
    """Whether mushrooms are put in of which the text says, anywhere, that they were not bought."""
    if change.act not in _OF_FOOD - {Act.OMIT, Act.LESS}:
        return False
    words = set(lemmas(f"{change.item} {change.other} {change.text}"))
    return "mushroom" in words_of(f"{change.item} {change.other}") and bool(words & _UNSOLD)


def _accounts(facts: Facts, change: Change) -> bool:
    if change.act not in _OF_FOOD:
        return True
    names = [change.item, change.other] if change.act is Act.SWAP else [change.item]
    return all(is_consumed(facts, name) and not _is_of_produce_alone(read_phrase(name)) for name in names)


_PEELS = frozenset({"unpeeled", "peeled", "cored", "pitted", "skinless"})


def _is_of_produce_alone(phrase: Phrase) -> bool:
    """ "Unpeeled salt": what was said of the produce, beside something that has no peel."""
    return bool(phrase.preps & _PEELS and phrase.kinds and phrase.kinds <= SALTS | SWEETS | ACIDS | PECTINS)


def _judge(facts: Facts, change: Change) -> Decision:
    if change.act in _SINGLE:
        return _SINGLE[change.act](facts, change)
    if change.act in _SEVERAL:
        return worst_of(_SEVERAL[change.act](facts, change) or [Decision("NOT-UNDERSTOOD")])
    if change.act in _AMOUNTS:
        return _amounts(facts, change)
    return Decision("NOT-UNDERSTOOD")


def _amounts(facts: Facts, change: Change) -> Decision:
    lines = facts.find(change.item)
    other_food = unrelated(lines, read_phrase(change.item))
    if other_food and change.act is Act.MORE and read_phrase(change.item).kinds == {Kind.SPICE}:
        lines = ()  # "more dried oregano" where the recipe says "oregano": nothing fresh is meant
    decisions = judge_amount(facts, change, lines) if lines else []
    if change.act is Act.MORE and (not lines or other_food or read_phrase(change.item).kinds & ACIDS):
        decisions += judge_add(facts, replace(change, amount=change.amount or change.other_amount, word=ADDED))
    elif not lines or (change.act is Act.SET and other_food):
        named = read_phrase(change.item)
        decisions += [_absent(change, named)]
    if change.act is Act.MORE and change.other_amount and change.factor:
        decisions += [Decision("NOT-UNDERSTOOD")]  # "double 1 tsp lemon juice": of what, and how much
    return worst_of(decisions or [Decision("NOT-UNDERSTOOD")])


def _absent(change: Change, named: Phrase) -> Decision:
    """Of something that the recipe does not have: to leave it out is no change, unless it is an acid."""
    if named.foods and named.unknown:
        return Decision("NOT-UNDERSTOOD")
    wet = ACIDS | {Kind.WATER, Kind.JUICE, Kind.CITRUS}
    if change.act is Act.OMIT and named.is_known and not named.kinds & wet:
        return Decision("NO-CHANGE", "The recipe has none of it.")
    return Decision("NOT-IN-RECIPE")


def checked_as_dict(recipe: TestedRecipe, checked: Checked, *, revision: int | None = None) -> dict[str, object]:
    """What `check_changes --json` prints: plain strings and numbers only."""
    return {
        "recipe": recipe.slug,
        "revision": revision,
        "verdict": checked.verdict.value,
        "changes": [
            {
                "change": answer.change,
                "reading": answer.reading,
                "verdict": answer.verdict.value,
                "rule": answer.rule,
                "source": answer.source,
                "message": answer.message,
            }
            for answer in checked.verdicts
        ],
    }
