"""What a recipe's source lets stand in place of its own lines, and the recipe as it is with one of these choices."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from recipes.engine.quantities import JAR_ML
from recipes.engine.terms import Alternative, Ingredient, JarFact, ProcessTable, TestedRecipe


@dataclass(frozen=True)
class Choice:
    """All lines of one choice. `name` is unique beside those that stand in place of the same lines."""

    name: str
    instead_of: tuple[str, ...]
    lines: tuple[Alternative, ...]

    @property
    def is_seen(self) -> bool:
        """Whether every figure of it was seen in print; a plan offers no other."""
        return all(line.seen.is_seen for line in self.lines)

    def replaces(self, item: str) -> bool:
        return same_item(item) in {same_item(name) for name in self.instead_of}


def same_item(item: str) -> str:
    """An item as it is compared: small letters, single spaces."""
    return " ".join(item.lower().split())


def choices_of(entry: TestedRecipe | ProcessTable) -> tuple[Choice, ...]:
    """The choices in the order of their first lines."""
    groups: dict[tuple[frozenset[str], str], list[Alternative]] = {}
    for line in entry.alternatives:
        groups.setdefault((frozenset(map(same_item, line.instead_of)), same_item(line.choice)), []).append(line)
    return tuple(Choice(lines[0].choice, lines[0].instead_of, tuple(lines)) for lines in groups.values())


def variants(recipe: TestedRecipe) -> Iterator[tuple[Choice, TestedRecipe]]:
    """The recipe with each of its choices alone, so that it can be judged as if it were one of its own."""
    for choice in choices_of(recipe):
        yield choice, with_choice(recipe, choice)


def with_choice(recipe: TestedRecipe, choice: Choice) -> TestedRecipe:
    """The recipe with this choice: its lines stand where the first line that they replace stood.

    What the choice gives for each jar is a fact of the new recipe, and its line for one pot is reckoned from it for as
    many jars as the stated yield fills at most, so that no acid of a pot is less than that of its jars.
    """
    lines: list[Ingredient] = []
    placed = False
    for line in recipe.ingredients:
        if not choice.replaces(line.item):
            lines.append(line)
        elif not placed:
            lines += _for_a_pot(recipe, choice.lines)
            placed = True
    if not placed:  # it stands in place of facts for each jar alone
        lines += _for_a_pot(recipe, choice.lines)
    facts = [fact for fact in recipe.per_jar if not choice.replaces(fact.item)]
    return replace(
        recipe,
        ingredients=tuple(lines),
        per_jar=(*facts, *(_fact(line) for line in choice.lines if line.jar)),
        loads=tuple(load for load in recipe.loads if not choice.replaces(load.item)),
        alternatives=tuple(line for line in recipe.alternatives if line not in choice.lines),
    )


def _for_a_pot(recipe: TestedRecipe, lines: Sequence[Alternative]) -> Iterator[Ingredient]:
    """One line for each item: as given for a pot, or from the largest jar that it is given for."""
    by_item: dict[str, list[Alternative]] = {}
    for line in lines:
        by_item.setdefault(same_item(line.item), []).append(line)
    for group in by_item.values():
        of_pot = next((one for one in group if not one.jar), None)
        if of_pot is not None:
            yield _ingredient(of_pot, Fraction(1))
        else:
            largest = max(group, key=lambda one: JAR_ML[one.jar])
            stated = recipe.stated_yield
            yield _ingredient(largest, stated.high * JAR_ML[stated.jar] / JAR_ML[largest.jar])


def _ingredient(line: Alternative, times: Fraction) -> Ingredient:
    return Ingredient(
        item=line.item,
        prep=line.prep,
        role=line.role,
        amount=line.amount * times,
        unit=line.unit,
        amount_high=None if line.amount_high is None else line.amount_high * times,
        optional=line.optional,
        grams=None if line.grams is None else line.grams * times,
        grams_source=line.grams_source,
    )


def _fact(line: Alternative) -> JarFact:
    return JarFact(
        item=line.item,
        role=line.role,
        jar=line.jar,
        amount=line.amount,
        unit=line.unit,
        seen=line.seen,
        prep=line.prep,
        amount_high=line.amount_high,
        optional=line.optional,
        source=line.source,
        dispute=line.dispute,
        note=line.note,
    )
