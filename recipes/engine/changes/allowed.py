"""What a recipe itself allows beside its own amounts: read by the checker and shown on its page."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

from recipes.engine.changes.facts import Facts, facts_of, new_preps
from recipes.engine.changes.foods import FRESH, LOW_ACID, Kind, Phrase, read_phrase
from recipes.engine.changes.terms import BARE, LITTLE, PART, Act, Change, Decision
from recipes.engine.changes.vocabulary import data, phrases, words_of
from recipes.engine.terms import TestedRecipe


@dataclass(frozen=True)
class Allowed:
    """One thing that a recipe allows: `says` is for people, `old` and `new` are names of foods, `code` a rule.

    `new` is empty where `old` may be left out; `least` is how much of the new there has to be for one of the old,
    by measure.
    """

    says: str
    code: str
    old: str
    new: tuple[str, ...]
    source: str
    seen: str


def allowed_by(recipe: TestedRecipe) -> tuple[Allowed, ...]:
    """What this recipe allows, by its slug and by what it is."""
    facts = facts_of(recipe)
    return tuple(entry for entry, slugs, group in _entries() if recipe.slug in slugs or _fits(facts, group))


@cache
def _entries() -> tuple[tuple[Allowed, frozenset[str], str], ...]:
    return tuple(_entry(row) for row in data("allowed")["allowed"])


def _entry(row: dict[str, Any]) -> tuple[Allowed, frozenset[str], str]:
    new = tuple(part.strip() for part in row.get("new", "").split(",") if part.strip())
    entry = Allowed(row["says"], row["code"], row["old"], new, row["source"], row["seen"])
    return entry, frozenset(row.get("recipes", "").replace(",", " ").split()), row.get("group", "")


def _fits(facts: Facts, group: str) -> bool:
    """The groups: fruit packed in syrup; tomatoes and figs with lemon juice alone; of these, tomatoes."""
    alone = facts.is_acidified_alone and bool(facts.with_kind({Kind.CITRUS_JUICE, Kind.CITRIC}))
    fits = {"syrup": facts.is_syrup_pack, "acid-alone": alone, "tomato-alone": alone and facts.has_tomato}
    return fits.get(group, False)


def pickable_foods() -> dict[str, tuple[str, ...]]:
    """Foods to pick from a list, by group; each is a name that the reader knows."""
    return {group: tuple(phrases(names)) for group, names in data("allowed")["pick"].items()}


def allows(facts: Facts, code: str) -> bool:
    """Whether the recipe allows something under this rule."""
    return any(entry.code == code for entry in allowed_by(facts.recipe))


def judge_allowed(facts: Facts, change: Change) -> Decision | None:
    """The decision on a change that the recipe itself names; None where it names none such.

    What stands in for an acid is judged by its measure, whatever is allowed (`judge_swap`).
    """
    for entry in allowed_by(facts.recipe):
        if entry.code in ("RECIPE-ALLOWS", "SAME-FOOD") and _is_entry(facts, entry, change):
            return Decision("SAY-WHICH") if _may_be_on_top(change) else Decision(entry.code, entry.says)
    return None


def _may_be_on_top(change: Change) -> bool:
    """ "Zucchini" alone, where zucchini may stand in for cucumbers: as likely some of it beside them."""
    named = change.act is Act.USE and change.word in (BARE, LITTLE, PART)
    return named and bool(read_phrase(change.item).kinds & LOW_ACID)


def _is_entry(facts: Facts, entry: Allowed, change: Change) -> bool:
    if not entry.new:
        sugar = change.act in (Act.OMIT, Act.LESS) or (change.act is Act.ADD and change.word != "")
        sweet = read_phrase(change.item)  # "sugar snap peas" are no sugar
        return sugar and sweet.is_known and sweet.kinds == read_phrase(entry.old).kinds
    if change.act is Act.SWAP:
        old, new = change.item, change.other
    elif change.act is Act.USE and change.amount is None:
        old, new = entry.old, change.item
    else:
        return False
    more = change.other_amount is not None and (change.amount is None or change.other_amount != change.amount)
    phrase = read_phrase(new)
    named = {food.name for food in phrase.foods}
    same = set(read_phrase(old).words) >= set(words_of(entry.old))
    known = bool(named) and not phrase.unknown and named <= set(entry.new)
    return same and known and not more and _is_prepared_so(facts, entry, phrase)


def _is_prepared_so(facts: Facts, entry: Allowed, phrase: Phrase) -> bool:
    """Whether a phrase names no form, and no cut or size, but those of the entry or of the line it takes the place of.

    Fresh is what every entry means.
    """
    told = [read_phrase(name) for name in entry.new]
    forms = {FRESH} | {form for known in told for form in known.forms}
    preps = {prep for known in told for prep in known.preps}
    return phrase.forms <= forms and all(new_preps(line, phrase) <= preps for line in facts.find(entry.old))
