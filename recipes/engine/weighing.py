"""What one line of a recipe weighs and how much of it dissolves; or a refusal that names the line.

A weight is taken, in this order: from the line itself, from its unit when that is a mass, from a published household
weight, from an estimate for that food, from an estimate for any food so cut. Whatever is estimated says so and has
the wider reach. A line that none of these covers is refused: nothing is guessed in silence.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from recipes.engine.foods import PUBLISHED, Figure, Foods, Span, form_of
from recipes.engine.foods_solids import ANY_FRUIT as ANY_FRUIT_BRIX
from recipes.engine.foods_solids import ANY_OTHER as ANY_OTHER_BRIX
from recipes.engine.foods_weights import ANY_FRUIT, ANY_LIQUID, ANY_SPICE
from recipes.engine.terms import Ingredient, Refusal, Role, Rule
from recipes.engine.units import POUND_G, UNITS, convert

NO_SOURCE = "common practice, no source"
NO_WEIGHT = "yield-line-without-weight"
MASS_BALANCE = Rule(
    "MASS-BALANCE",
    "What is in the jars is what went into the pot less what boiled off and what stayed behind; "
    "a pot with an unknown weight or no printed end has no predicted yield.",
    NO_SOURCE,
)

SCALE_REACH = 0.02  # kitchen scales, and the trimming between buying and weighing
ESTIMATE_REACH = 0.08  # a weight on the line that is itself an estimate
STRAINED = (0.35, 0.65, 0.9)  # share of whole produce that runs through a jelly bag; common practice, no source
DILUTED = (0.55, 0.85, 1.1)  # juice drawn out with water, against the fruit's own degrees Brix; the same


class WeighedLine(NamedTuple):
    """One line: grams in the pot and its degrees Brix. `estimate` says what about it was estimated, if anything."""

    item: str
    role: Role
    grams: Span
    brix: Span
    source: str
    estimate: str = ""
    is_concentrate: bool = False


def weigh_line(
    line: Ingredient, *, pectin: str = "", strained: bool = False, foods: Foods = PUBLISHED
) -> WeighedLine | Refusal:
    """The line's weight and solids. `pectin` is the recipe's kind of it; `strained` says that pulp is left out."""
    names = _pectin_names(line, pectin) if line.role is Role.PECTIN else foods.named_in(f"{line.item} {line.prep}")
    weight = _weight(line, names, foods)
    if weight is None:
        return _refusal(line)
    brix, grams, form = _brix(line, names, foods), weight.span, form_of(line)
    notes = [weight.source] if weight.is_estimate else []
    if line.role is Role.FRUIT and form == "juice" and not _is_concentrate(names):
        brix = _multiplied(brix, DILUTED)
    elif strained and line.role in (Role.FRUIT, Role.LOW_ACID, Role.SPICE) and not _is_concentrate(names):
        grams = _multiplied(grams, STRAINED)
        notes.append("its pulp is strained out: a share is estimated")
    if line.amount_high is not None or line.optional:
        notes.append("the recipe leaves the amount open")
    return WeighedLine(line.item, line.role, grams, brix, weight.source, "; ".join(notes), _is_concentrate(names))


def cups_between(cups: float, food: str, was: str, becomes: str, foods: Foods = PUBLISHED) -> Span | Refusal:
    """How many cups of a food in one form (whole, pitted, sliced, ...) become in another; no juice is poured away."""
    before, after = foods.cup_of(food, was), foods.cup_of(food, becomes)
    if before is None or after is None:
        missing = was if before is None else becomes
        return _no_weight(f"No weight is known for a cup of {food}, {missing}.", "Weigh it.")
    grams = before.span.times(cups)
    return Span(grams.low / after.span.high, grams.best / after.span.best, grams.high / after.span.low)


def _weight(line: Ingredient, names: Sequence[str], foods: Foods) -> Figure | None:
    """Grams of the whole line, over everything that the recipe leaves open."""
    if line.grams is not None:
        figure: Figure | None = _on_the_line(line, names, foods)
    elif UNITS[line.unit].kind == "mass":
        grams = float(convert(line.amount, line.unit, "g"))
        figure = Figure(Span(grams * (1 - SCALE_REACH), grams, grams * (1 + SCALE_REACH)), "weighed")
    elif UNITS[line.unit].kind == "volume":
        figure = _scaled(_cup(line, names, foods), float(convert(line.amount, line.unit, "cup")))
    else:
        figure = _scaled(_each(line, names, foods), float(line.amount))
    return None if figure is None else _left_open(line, figure)


def _on_the_line(line: Ingredient, names: Sequence[str], foods: Foods) -> Figure:
    """The weight printed on the line, with the reach that a cup of this food has."""
    grams = float(line.grams or 0)
    is_estimate = line.grams_source.startswith("estimate")
    low, high = (1 - ESTIMATE_REACH, 1 + ESTIMATE_REACH) if is_estimate else (1 - SCALE_REACH, 1 + SCALE_REACH)
    if UNITS[line.unit].kind == "volume" and (cup := _cup(line, names, foods)) is not None:
        low, high = cup.span.low / cup.span.best, cup.span.high / cup.span.best
    return Figure(Span(grams * low, grams, grams * high), line.grams_source, is_estimate)


def _left_open(line: Ingredient, figure: Figure) -> Figure:
    span = figure.span
    if line.amount_high is not None:
        most = float(line.amount_high / line.amount)
        span = Span(span.low, span.best * (1 + most) / 2, span.high * most)
    if line.optional:
        span = Span(0, span.best / 2, span.high)
    return Figure(span, figure.source, figure.is_estimate)


def _cup(line: Ingredient, names: Sequence[str], foods: Foods) -> Figure | None:
    form = form_of(line)
    if form == "crushed" and line.unit in ("pint", "quart"):  # berries are sold and measured so, then crushed
        boxes = [figure for name in names if (figure := foods.grams_per_cup.get((name, "whole"))) is not None]
        if boxes:
            return _mean(boxes, "measured whole, then crushed: ")
    known = [figure for name in names if (figure := foods.cup_of(name, form)) is not None]
    if not known:
        known = [figure for name in names if (figure := foods.grams_per_cup.get((name, ""))) is not None]
    if known and len(known) == len(names):
        return _mean(known)
    return _any_cup(line, form)


def _any_cup(line: Ingredient, form: str) -> Figure | None:
    """A cup of something unlisted, where its form alone says about what it weighs."""
    if line.role is Role.FRUIT and form in ANY_FRUIT:
        return Figure(Span(*ANY_FRUIT[form]), f"estimate for any fruit, {form}", True)
    if line.role is Role.LIQUID or (line.role is Role.ACID and form == "juice"):
        return Figure(Span(*ANY_LIQUID), "estimate for any thin liquid", True)
    if line.role is Role.SPICE:
        return Figure(Span(*ANY_SPICE), "estimate for any spice", True)
    return None


def _each(line: Ingredient, names: Sequence[str], foods: Foods) -> Figure | None:
    if line.role is Role.PECTIN:
        kind = "pectin pouch" if line.unit == "pouch" else "pectin box"
        return foods.grams_each[kind]
    if line.unit == "can":
        return _net_weight(line.prep)
    known = [foods.grams_each[name] for name in names if name in foods.grams_each]
    if known:
        return _mean(known)
    return Figure(Span(0, 1, 5), "estimate for any spice apiece", True) if line.role is Role.SPICE else None


def _net_weight(prep: str) -> Figure | None:
    """The ounces that a line about a can prints: "crushed, 20 oz"."""
    found = re.search(r"([0-9]+(?:\.[0-9]+)?)[ -]?(?:oz|ounce)", prep.lower())
    if found is None:
        return None
    grams = float(Fraction(found[1]) * POUND_G / 16)
    return Figure(Span(grams * (1 - SCALE_REACH), grams, grams * (1 + SCALE_REACH)), "net weight on the can")


def _brix(line: Ingredient, names: Sequence[str], foods: Foods) -> Span:
    known = [foods.brix[name] for name in names if name in foods.brix]
    if known:
        return _mean(known).span
    if line.role is Role.SUGAR:
        return foods.brix["sugar"].span
    return Span(*(ANY_FRUIT_BRIX if line.role is Role.FRUIT else ANY_OTHER_BRIX))


def _pectin_names(line: Ingredient, pectin: str) -> tuple[str, ...]:
    is_liquid = line.unit == "pouch" or "liquid" in line.prep.lower() or (pectin == "liquid" and line.unit != "box")
    return ("liquid pectin",) if is_liquid else ("powdered pectin",)


def _is_concentrate(names: Sequence[str]) -> bool:
    return any(name.endswith("concentrate") for name in names)


def _mean(figures: Sequence[Figure], why: str = "") -> Figure:
    """Where a line names several foods, the middle of them, reaching as far as any does."""
    low, high = min(f.span.low for f in figures), max(f.span.high for f in figures)
    best = sum(f.span.best for f in figures) / len(figures)
    sources = why + "; ".join(dict.fromkeys(f.source for f in figures))
    return Figure(Span(low, best, high), sources, any(f.is_estimate for f in figures))


def _scaled(figure: Figure | None, factor: float) -> Figure | None:
    return figure and Figure(figure.span.times(factor), figure.source, figure.is_estimate)


def _multiplied(span: Span, share: tuple[float, float, float]) -> Span:
    return Span(span.low * share[0], span.best * share[1], span.high * share[2])


def _refusal(line: Ingredient) -> Refusal:
    what = f"{line.item}, {line.prep}" if line.prep else line.item
    return _no_weight(f'No weight is known for "{what}" by the {line.unit}.', "Give its grams in the recipe.")


def _no_weight(problem: str, advice: str) -> Refusal:
    return yield_refusal(NO_WEIGHT, f"{problem} {advice}")


def yield_refusal(code: str, message: str) -> Refusal:
    """Why a pot's yield is not worked out; the recipe may be cooked all the same."""
    return Refusal(code, message, MASS_BALANCE.name, MASS_BALANCE.source)
