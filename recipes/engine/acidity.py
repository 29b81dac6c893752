"""The acid ledger of a recipe for the shelf: what refuses it, and what holds it back until a reviewer has settled it.

Each line is a known food or it waits. Foods that are never canned are refused by what they are, whatever role they
were given. Tomatoes, figs and Asian pears need the published acid by weight and by jar; any other mixture with low-acid
food needs the ratio of a tested recipe. Nothing here knows a process time.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from recipes.engine.acidity_foods import ACIDS, FoodClass, KnownFoods
from recipes.engine.acidity_lines import LOWEST_VINEGAR_PERCENT, TSP_ML, Line, grams_at_least, lines_of, strengths_in
from recipes.engine.acidity_near import near_findings
from recipes.engine.acidity_terms import Finding, held, refused
from recipes.engine.acidity_tested import TestedRatio, lowest_ratio, ratio_of, vinegar_ml
from recipes.engine.rules import FERMENT_KINDS
from recipes.engine.terms import Method, Role, TestedRecipe
from recipes.engine.units import US_CUP_ML, convert, unit_kind

__all__ = ["Finding", "Ledger", "judge", "ledger_of"]

# Butter against foam, for a whole pot: grape-plum jelly (NCHFP), as the library has it.
MOST_BUTTER_ML = TSP_ML / 2
# More dry spice than this in one pot is no seasoning: a rule of this club.
MOST_SPICE_ML = US_CUP_ML
# Oil under pressure, as millilitres for a gram of all else; more is food in oil: a rule of this club.
MOST_OIL_SHARE = Fraction(1, 100)
# What is fermented with salt alone in print: sauerkraut and dill pickles (USDA Complete Guide, Guide 6).
FERMENTED_FOODS = frozenset({"cabbage", "cucumber", "sauerkraut"})
_SPREAD_KINDS = frozenset({"butter", "jam", "jelly", "preserve", "conserve", "marmalade", "pie-filling", "sauce"})


@dataclass(frozen=True)
class Ledger:
    """What is known for the judgement: the foods, and the ratios of the tested library."""

    foods: KnownFoods
    ratios: tuple[TestedRatio, ...]
    lowest: Fraction  # ml of vinegar for a gram of low-acid food, the least of any tested recipe


def ledger_of(foods: KnownFoods, tested: Iterable[TestedRecipe]) -> Ledger:
    read = [
        (recipe.slug, lines_of(recipe, foods))
        for recipe in tested
        if recipe.is_tested and Method.BOILING_WATER in _methods(recipe)
    ]
    return Ledger(
        foods, tuple(ratio_of(slug, lines) for slug, lines in read), lowest_ratio(lines for _slug, lines in read)
    )


def judge(recipe: TestedRecipe, ledger: Ledger) -> tuple[Finding, ...]:
    """Everything that speaks against this recipe, in the order of its lines; nothing for one that is kept frozen."""
    methods = _methods(recipe)
    if not methods & {Method.BOILING_WATER, Method.PRESSURE}:
        return ()
    return tuple(_Case(recipe, ledger, lines_of(recipe, ledger.foods), Method.BOILING_WATER in methods).findings())


def _methods(recipe: TestedRecipe) -> frozenset[Method]:
    return frozenset({recipe.method, *(row.method for row in recipe.process)})


@dataclass(frozen=True)
class _Case:
    """One recipe before the ledger. `boiling`: whether any jar of it is kept by boiling water (or steam)."""

    recipe: TestedRecipe
    ledger: Ledger
    lines: Sequence[Line]
    boiling: bool

    @cached_property
    def low(self) -> list[Line]:
        return [line for line in self.lines if FoodClass.LOW_ACID in line.kinds]

    @cached_property
    def near(self) -> list[Line]:
        return [line for line in self.lines if FoodClass.NEAR in line.kinds]

    @cached_property
    def is_covered(self) -> bool:
        return any(ratio.covers(self.lines) for ratio in self.ledger.ratios)

    @cached_property
    def needs_acid(self) -> bool:
        """Whether the jar is safe only because of acid that is put into it."""
        return bool(self.near and not self.low) or (self.boiling and bool(self.low or self.near))

    def findings(self) -> list[Finding]:
        found = [*self._unknown(), *self._never(), *self._named_elsewhere(), *self._acid_lines()]
        if self.boiling:
            found += self._much_spice()
        if self.boiling and not self.is_covered:
            found += [*self._untested(), *self._mixture()]
        if self.near and self.needs_acid and not (self.low and self.is_covered):
            found += near_findings(self.recipe, self.near, self.lines, self.ledger.foods, alone=not self.low)
        if self.boiling and self.needs_acid:
            found += self._weak_steps()
        return list(dict.fromkeys(found))

    def _unknown(self) -> list[Finding]:
        found = []
        for line in self.lines:
            for field, words in (("item", line.item), ("prep", line.prep)):
                for unknown in words.unknown:
                    message = f'"{unknown}" in "{line.named}" is no food or word that the acid list knows.'
                    found.append(held(line.field(field), "KNOWN-FOOD", message, unknown=unknown))
            if not line.foods and not line.item.unknown:
                message = f'"{line.named}" names no food. Say which.'
                found.append(held(line.field("item"), "KNOWN-FOOD", message))
        return found

    def _never(self) -> list[Finding]:
        found = []
        for line in self.lines:
            for food in line.foods:
                if reason := self._why_never(line, food.kind, food.name):
                    rule, why = reason
                    found.append(refused(line.field("item"), rule, f'"{line.named}" ({food.name}): {why}'))
        return [*found, *self._oil()]

    def _why_never(self, line: Line, kind: FoodClass, name: str) -> tuple[str, str] | None:
        if kind is FoodClass.NEVER:
            return "NEVER-CANNED", "no tested process keeps it on a shelf."
        if kind is FoodClass.PRESSURE_ONLY and self.boiling:
            return "NEVER-CANNED", "no tested process keeps it in boiling water."
        if name == "pumpkin" and (line.is_mashed or self.recipe.kind in _SPREAD_KINDS):
            return (
                "NEVER-PUREE",
                "pumpkin and winter squash are kept as cubes under pressure, never as a puree or butter.",
            )
        if kind is FoodClass.LOW_ACID and line.is_mashed:
            return "NEVER-PUREE", "as a puree it is too dense for any tested process."
        if kind is FoodClass.STARCH and not self.boiling:
            return "NEVER-CANNED", "a starch or flour keeps the heat from the middle of the jar."
        return None

    def _oil(self) -> list[Finding]:
        oils = [line for line in self.lines if FoodClass.OIL in line.kinds]
        if not oils or (self.boiling and self.is_covered):
            return []
        if self.boiling:
            beside = self.low or any("fresh herb" in line.key or "garlic" in line.key for line in self.lines)
            if not beside:
                return []  # held back as untested
        elif self._little_oil(oils):
            return []
        message = "with vegetables, garlic or herbs in the same jar has no tested process."
        return [refused(line.field("item"), "NEVER-OIL", f'"{line.named}" {message}') for line in oils]

    def _little_oil(self, oils: list[Line]) -> bool:
        """Under pressure: oil that is nothing beside the food. What cannot be measured is not little."""
        if any(unit_kind(line.ingredient.unit) != "volume" or len(line.key) > 1 for line in oils):
            return False
        oil = sum(convert(line.most, line.ingredient.unit, "ml") for line in oils)
        body = sum(grams_at_least(line) for line in self.lines if line not in oils and line.key - {"water"})
        return oil <= body * MOST_OIL_SHARE

    def _named_elsewhere(self) -> list[Finding]:
        """Title and produce name no such food that no line names: the jar would hold what the ledger never saw."""
        produce = [(f"produce[{i}]", name) for i, name in enumerate(self.recipe.produce)]
        kinds = {FoodClass.NEVER, FoodClass.NEAR} | ({FoodClass.PRESSURE_ONLY} if self.boiling else set())
        on_lines = {food.name for line in self.lines for food in line.foods}
        if on_lines & {"tomato", "tomato product", "green tomato"}:
            on_lines |= {"tomato", "tomato product", "green tomato"}
        found = []
        for field, text in [("title", self.recipe.title), *produce]:
            for food in self.ledger.foods.read(text).foods:
                if food.kind in kinds and food.name not in on_lines:
                    message = f'"{text}" names {food.name}, but no ingredient does. Correct the one or the other.'
                    found.append(held(field, "KNOWN-FOOD", message))
        return found

    def _acid_lines(self) -> list[Finding]:
        if not self.boiling and not self.needs_acid:
            return []
        needed = self.needs_acid and not self.is_covered
        return [
            Finding(fault.field, fault.message, fault.rule, fault.is_refused)
            for line in self.lines
            for fault in line.faults(needed=needed)
        ]

    def _untested(self) -> list[Finding]:
        """What may be in a jar for boiling water only as a tested recipe has it."""
        found = []
        for line in self.lines:
            field, name = line.field("item"), line.named
            if FoodClass.STARCH in line.kinds:
                message = f'"{name}" thickens; in boiling water it is allowed only as a tested recipe has it.'
                found.append(refused(field, "NEVER-CANNED", message))
            if FoodClass.BUTTER in line.kinds and not self._little_butter(line):
                message = f'"{name}": more than 1/2 tsp of butter for a pot has no tested process.'
                found.append(refused(field, "NEVER-CANNED", message))
            if line.kinds & {FoodClass.UNTESTED, FoodClass.OIL, FoodClass.NO_TESTED_ACID}:
                message = f'"{name}" is allowed only as a tested recipe has it, and none that is known here does.'
                found.append(held(field, "ACID-RATIO", message, by_statement=True))
        return found

    def _much_spice(self) -> list[Finding]:
        return [
            held(line.field("amount"), "ACID-RATIO", f'"{line.named}" is more than a seasoning.', by_statement=True)
            for line in self.lines
            if line.kinds == {FoodClass.SPICE} and _size(line) > MOST_SPICE_ML
        ]

    @staticmethod
    def _little_butter(line: Line) -> bool:
        unit = line.ingredient.unit
        return unit_kind(unit) == "volume" and convert(line.most, unit, "ml") <= MOST_BUTTER_ML

    def _mixture(self) -> list[Finding]:
        """Low-acid food in boiling water, away from every tested ratio."""
        if not self.low:
            return []
        names = ", ".join(dict.fromkeys(line.named for line in self.low))
        if not any(line.counts_as_acid for line in self.lines):
            if self._is_ferment():
                message = f"{names}: a ferment is kept in boiling water only by the salt of a tested recipe."
                return [held("ingredients", "ACID-RATIO", message, by_statement=True)]
            message = f"{names}: low-acid food in boiling water without a tested acid that is always put in."
            return [refused(self.low[0].field("item"), "LOWACID-METHOD", message)]
        if vinegar_ml(self.lines) < self.ledger.lowest * sum(grams_at_least(line) for line in self.low):
            message = f"{names}: less acid for this much low-acid food than in any tested recipe."
            return [refused(self._acid_field(), "ACID-RATIO", message)]
        message = f"{names}: this ratio of acid to low-acid food is not that of a tested recipe known here."
        return [held(self._acid_field(), "ACID-RATIO", message, by_statement=True)]

    def _acid_field(self) -> str:
        return next(line.field("amount") for line in self.lines if line.counts_as_acid)

    def _is_ferment(self) -> bool:
        salted = any(
            line.ingredient.role is Role.SALT and not line.ingredient.optional and not line.key for line in self.lines
        )
        names = {food.name for line in self.low for food in line.foods}
        return self.recipe.kind in FERMENT_KINDS and salted and names <= FERMENTED_FOODS

    def _weak_steps(self) -> list[Finding]:
        """A step that asks for weaker vinegar than the line says."""
        found = []
        for i, step in enumerate(self.recipe.steps):
            named = self.ledger.foods.read(step).foods
            if any(food.kind in ACIDS for food in named) and any(
                strength < LOWEST_VINEGAR_PERCENT for strength in strengths_in(step)
            ):
                message = "This step asks for an acid weaker than 5 percent."
                found.append(refused(f"steps[{i}]", "VINEGAR-MIN", message))
        return found


def _size(line: Line) -> Fraction:
    """Millilitres or grams; nothing for things that are counted."""
    unit = line.ingredient.unit
    kind = unit_kind(unit)
    return Fraction(0) if kind == "count" else convert(line.most, unit, "ml" if kind == "volume" else "g")
