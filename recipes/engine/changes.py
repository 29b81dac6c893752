"""May I change this? A proposed change to a tested recipe is fine, only changes quality, or is refused, and why.

    check_change(recipe, "omit sugar") -> Verdict
    check_changes(recipe, ["sugar 7 cups -> 5 cups", "jar pint"]) -> Checked

Decisions rest on the recipe's roles, kind, method, pectin and produce, never on its name. Every rule stands in
`CHANGE_RULES` with its source. What no rule covers, or what cannot be read, is refused. Nothing here raises for
any text. The grammar is written out in `GRAMMAR_HELP`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from recipes.engine.change_account import doubts_acid, left_over
from recipes.engine.change_facts import Facts, facts_of, unrelated
from recipes.engine.change_foods import read_phrase
from recipes.engine.change_grammar import read_changes
from recipes.engine.change_grammar_food import ADDED
from recipes.engine.change_grammar_help import GRAMMAR_HELP
from recipes.engine.change_judge_add import judge_add
from recipes.engine.change_judge_amount import Decision, judge_amount
from recipes.engine.change_judge_form import judge_form
from recipes.engine.change_judge_swap import judge_swap, judge_use, worst_of
from recipes.engine.change_judge_vessel import (
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
)
from recipes.engine.change_kinds import ACIDS
from recipes.engine.change_measure import for_the_pot
from recipes.engine.change_rules import CHANGE_RULES
from recipes.engine.change_terms import Act, Change, Checked, Ruling, Verdict, worst
from recipes.engine.change_together import judge_together
from recipes.engine.terms import TestedRecipe

__all__ = [
    "CHANGE_RULES",
    "GRAMMAR_HELP",
    "Act",
    "Change",
    "Checked",
    "Ruling",
    "Verdict",
    "check_change",
    "check_changes",
    "checked_as_dict",
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


def check_change(recipe: TestedRecipe, change: str | Change) -> Verdict:
    """The verdict on one change, in words or already read; of several wishes in one text, the worst."""
    return check_changes(recipe, [change]).verdicts[0]


def check_changes(recipe: TestedRecipe, changes: Iterable[str | Change]) -> Checked:
    """A verdict on each change, and on what the changes do together, in the order they were given."""
    asked = list(changes)
    groups = [[change] if isinstance(change, Change) else read_changes(change) for change in asked]
    texts = [change.text if isinstance(change, Change) else change for change in asked]
    if not recipe.is_tested:
        return refuse_all(texts, "NOT-TESTED")
    facts = facts_of(recipe)
    flat = [(at, change, _decide(facts, change)) for at, group in enumerate(groups) for change in group]
    in_pot = [(for_the_pot(facts, change) or change, decision.code) for _, change, decision in flat]
    together = judge_together(facts, in_pot)
    answers: list[list[Verdict]] = [[] for _ in asked]
    for number, (at, _, decision) in enumerate(flat):
        final = Decision(together[number]) if number in together else decision
        answers[at].append(CHANGE_RULES[final.code].answer(texts[at], final.detail))
    return Checked(tuple(_answer(text, read, found) for text, read, found in zip(asked, groups, answers, strict=True)))


def refuse_all(changes: Iterable[str], code: str) -> Checked:
    """The same refusal of every change, for a recipe that is not to be made at all."""
    return Checked(tuple(CHANGE_RULES[code].answer(text) for text in changes))


def _is_allowed(decision: Decision) -> bool:
    return CHANGE_RULES[decision.code].verdict is not Ruling.REFUSED


def _answer(asked: str | Change, read: list[Change], found: list[Verdict]) -> Verdict:
    """The worst of a text's answers; what would be allowed is refused when the text says of acid what was not read."""
    answer = worst(found)
    if isinstance(asked, Change) or answer.verdict is Ruling.REFUSED or not doubts_acid(asked, read):
        return answer
    return CHANGE_RULES["ACID-DOUBT"].answer(asked)


def _decide(facts: Facts, change: Change) -> Decision:
    """The decision on a change, for the whole pot; nothing is allowed that leaves a word of the text over."""
    in_pot = for_the_pot(facts, change)
    if in_pot is None:
        return _first_refusal(_judge(facts, replace(change, amount=None, other_amount=None)), "CANNOT-COMPARE")
    decision = _judge(facts, in_pot)
    return _first_refusal(decision, "NOT-UNDERSTOOD") if left_over(facts, change) else decision


def _first_refusal(decision: Decision, code: str) -> Decision:
    return Decision(code) if _is_allowed(decision) else decision


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
    decisions = judge_amount(facts, change, lines) if lines else []
    if change.act is Act.MORE and (not lines or other_food or read_phrase(change.item).kinds & ACIDS):
        decisions += judge_add(facts, replace(change, amount=change.amount or change.other_amount, word=ADDED))
    elif not lines or (change.act is Act.SET and other_food):
        named = read_phrase(change.item)
        decisions += [Decision("NOT-UNDERSTOOD" if named.foods and named.unknown else "NOT-IN-RECIPE")]
    if change.act is Act.MORE and change.other_amount and (change.factor or change.other_amount.unit == "each"):
        decisions += [Decision("NOT-UNDERSTOOD")]  # "double 1 tsp lemon juice", "more 2 vinegar": of what, and how much
    return worst_of(decisions or [Decision("NOT-UNDERSTOOD")])


def checked_as_dict(recipe: TestedRecipe, checked: Checked, *, revision: int | None = None) -> dict[str, object]:
    """What `check_changes --json` prints: plain strings and numbers only."""
    return {
        "recipe": recipe.slug,
        "revision": revision,
        "verdict": checked.verdict.value,
        "changes": [
            {
                "change": answer.change,
                "verdict": answer.verdict.value,
                "rule": answer.rule,
                "source": answer.source,
                "message": answer.message,
            }
            for answer in checked.verdicts
        ],
    }
