"""Tomatoes, figs and Asian pears: the published acid, by weight, by jar, and in what the text says of each jar."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from recipes.engine.acidity_foods import ACIDS, FoodClass, KnownFoods
from recipes.engine.acidity_lines import TBSP_ML, TSP_ML, Line
from recipes.engine.acidity_terms import Finding, held, refused
from recipes.engine.acidity_tested import VINEGAR_FOR, vinegar_ml
from recipes.engine.document_fields import parse_exact
from recipes.engine.terms import TestedRecipe
from recipes.engine.units import JAR_ML, SPELLINGS, convert, unit_kind
from recipes.engine.wording import format_decimal

# What a quart takes, in ml, by acid (rule ACID-PUBLISHED). Vinegar is printed for tomatoes only, and for Asian pears
# bottled lemon juice alone.
_LEMON = {FoodClass.LEMON_JUICE: 2 * TBSP_ML}
_CITRIC = {FoodClass.CITRIC_ACID: TSP_ML / 2}
_VINEGAR = {FoodClass.VINEGAR: 4 * TBSP_ML}
_TOMATO_ACID = {**_LEMON, **_CITRIC, **_VINEGAR}
A_QUART: Mapping[str, Mapping[FoodClass, Fraction]] = {
    "tomato": _TOMATO_ACID,
    "tomato product": _TOMATO_ACID,
    "green tomato": _TOMATO_ACID,
    "fig": {**_LEMON, **_CITRIC},
    "asian pear": _LEMON,
}
_ANY_ACID_A_QUART: Mapping[FoodClass, Fraction] = {
    kind: 4 * TBSP_ML / strength for kind, strength in VINEGAR_FOR.items()
}

# Pounds in a quart, from the published canner loads of 7 quarts (USDA AIB 539 Guides 2 and 3; NCHFP; Michigan State
# Ext.): tomatoes whole or halved 21 lb, crushed 22, for juice 23, for thin sauce 35, for thick sauce 46; figs 16;
# pears 17 1/2. Fewer pounds a quart ask for more acid, so the form with the fewest stands for every form not named.
_WHOLE = Fraction(21, 7)
_JUICE = Fraction(23, 7)
_THIN_SAUCE = Fraction(35, 7)
_THICK_SAUCE = Fraction(46, 7)
_FIGS = Fraction(16, 7)
_ASIAN_PEARS = Fraction(35, 14)
_PRODUCT = Fraction(2)  # paste and sauce: a quart of water weighs 2.09 lb, and nothing of tomatoes is lighter

QUART_ML = JAR_ML["quart"]

_JARS = {
    "half pint": "half-pint",
    "quarter pint": "quarter-pint",
    "half gallon": "half-gallon",
    "quart": "quart",
    "pint": "pint",
    "litre": "quart",
    "liter": "quart",
}
_SAID = re.compile(r"([0-9]+(?: [0-9]+/[0-9]+|/[0-9]+|[.,][0-9]+)?)\s*([a-z]+(?:[ -]oz)?)\b")
_JAR_WORDS = re.compile(r"\b(half[ -]pint|quarter[ -]pint|half[ -]gallon|quart|pint|litre|liter|jar)s?\b")


class _Said(NamedTuple):
    """An amount in a sentence: how much, of which acid, for which jar."""

    ml: Fraction
    acid: FoodClass
    jar: str


def near_findings(
    recipe: TestedRecipe, near: Sequence[Line], lines: Sequence[Line], foods: KnownFoods, *, alone: bool
) -> list[Finding]:
    """What lacks of the published acid. `alone`: there is no other low-acid food in the jar."""
    return [*_by_weight(recipe, near, lines, alone=alone), *_by_jar(recipe, near, lines, foods)]


def _by_weight(recipe: TestedRecipe, near: Sequence[Line], lines: Sequence[Line], *, alone: bool) -> list[Finding]:
    known = [(line, quarts) for line in near if (quarts := _quarts_of(line, recipe)) is not None]
    filled = recipe.stated_yield.high * JAR_ML[recipe.stated_yield.jar] / QUART_ML if alone else Fraction(0)
    quarts = max(sum((quarts for _line, quarts in known), Fraction(0)), filled)
    field, name = _acid_field(near, lines), ", ".join(dict.fromkeys(line.named for line in near))
    need = quarts * 4 * TBSP_ML
    if vinegar_ml(lines) < need or not any(line.counts_as_acid for line in lines):
        message = (
            f"{name}: for {format_decimal(quarts, places=2)} quarts the least is {_least(near, quarts)}; here is less."
        )
        return [refused(field, "ACID-PUBLISHED", message)]
    if len(known) < len(near):
        counted = next(line for line in near if _quarts_of(line, recipe) is None)
        message = f'"{counted.named}" is counted, not weighed. Give its weight, so that the acid can be compared.'
        return [held(counted.field("unit"), "ACID-PUBLISHED", message)]
    if alone and not any(_enough(kind, each * quarts, lines) for kind, each in _printed_for(near).items()):
        message = f"{name}: no publication known here prints this acid, or two acids together, for it."
        return [held(field, "ACID-PUBLISHED", message, by_statement=True)]
    return []


def _printed_for(near: Sequence[Line]) -> dict[FoodClass, Fraction]:
    """The acids that are printed for every one of these foods, each with what a quart takes."""
    printed = [A_QUART[food.name] for line in near for food in line.foods if food.name in A_QUART]
    return {kind: max(each[kind] for each in printed) for kind in printed[0] if all(kind in each for each in printed)}


def _least(near: Sequence[Line], quarts: Fraction) -> str:
    names = {
        FoodClass.LEMON_JUICE: ("tbsp of bottled lemon juice", TBSP_ML),
        FoodClass.CITRIC_ACID: ("tsp of citric acid", TSP_ML),
        FoodClass.VINEGAR: ("tbsp of 5 percent vinegar", TBSP_ML),
    }
    parts = []
    for kind, each in _printed_for(near).items():
        unit, ml = names[kind]
        hundredths = -(-each * quarts * 100 // ml)  # never rounded down
        parts.append(f"{format_decimal(Fraction(hundredths, 100), places=2)} {unit}")
    return " or ".join(parts)


def _enough(kind: FoodClass, need: Fraction, lines: Sequence[Line]) -> bool:
    amounts = [line.acid_ml for line in lines if line.counts_as_acid and line.acid is kind]
    return sum((ml for ml in amounts if ml is not None), Fraction(0)) >= need


def _acid_field(near: Sequence[Line], lines: Sequence[Line]) -> str:
    acid = next((line for line in lines if line.counts_as_acid), None)
    return acid.field("amount") if acid else near[0].field("item")


def _quarts_of(line: Line, recipe: TestedRecipe) -> Fraction | None:
    """How many quarts the food of this line fills; a measured volume fills itself. None for things counted."""
    unit = line.ingredient.unit
    if unit_kind(unit) == "volume":
        return convert(line.most, unit, "ml") / QUART_ML
    if unit_kind(unit) == "mass":
        return convert(line.most, unit, "lb") / _pounds_a_quart(line, recipe)
    return None


def _pounds_a_quart(line: Line, recipe: TestedRecipe) -> Fraction:
    names = {food.name for food in line.foods}
    if "tomato product" in names:
        return _PRODUCT
    if "fig" in names:
        return _FIGS
    if "asian pear" in names:
        return _ASIAN_PEARS
    if recipe.kind == "sauce" and "reduced" in line.words:
        return _THICK_SAUCE if "half" in line.words else _THIN_SAUCE
    return _JUICE if "pressed" in line.words else _WHOLE


def _by_jar(recipe: TestedRecipe, near: Sequence[Line], lines: Sequence[Line], foods: KnownFoods) -> list[Finding]:
    """Every amount that the text gives for one jar, against the published one: the cook measures by this sentence."""
    texts = [
        *((line.field("prep"), line.ingredient.prep, line.acid) for line in lines if line.acid is not None),
        *((f"steps[{i}]", step, None) for i, step in enumerate(recipe.steps)),
    ]
    largest = max((row.jar for row in recipe.process), key=lambda jar: JAR_ML[jar], default="quart")
    least = {**_ANY_ACID_A_QUART, **_printed_for(near)}
    found = []
    for field, text, acid in texts:
        for said in _said_in(text, acid, largest, foods):
            if said.ml < least[said.acid] * JAR_ML[said.jar] / QUART_ML:
                message = f"For a {said.jar} this says less {said.acid.value} than is published."
                found.append(refused(field, "ACID-PUBLISHED", message))
    return found


def _said_in(text: str, acid: FoodClass | None, largest: str, foods: KnownFoods) -> Iterable[_Said]:
    """The amounts of acid for one jar in each sentence of a text. An amount without a jar has that of the next one."""
    for sentence in re.split(r"[.;](?=\s|$)", text.casefold()):
        marks = [mark for mark in _SAID.finditer(sentence) if SPELLINGS.get(mark[2]) and _is_volume(mark[2])]
        ends = [*(mark.start() for mark in marks[1:]), len(sentence)][: len(marks)]
        spans = [sentence[mark.end() : end] for mark, end in zip(marks, ends, strict=True)]
        jars = [_jar_in(span, largest) for span in spans]
        for i in range(len(jars) - 2, -1, -1):
            jars[i] = jars[i] or jars[i + 1]
        for mark, span, jar in zip(marks, spans, jars, strict=True):
            named = {food.kind for food in foods.read(span).foods}
            if named & ACIDS:
                acid = next(kind for kind in sorted(named) if kind in ACIDS)
            elif named:
                continue
            value = parse_exact(mark[1].replace(",", "."))
            if acid is not None and jar and value is not None:
                yield _Said(convert(value, SPELLINGS[mark[2]], "ml"), acid, jar)


def _is_volume(word: str) -> bool:
    name = SPELLINGS[word]
    return unit_kind(name) == "volume" and name not in ("pint", "quart", "gallon", "l")


def _jar_in(span: str, largest: str) -> str:
    match = _JAR_WORDS.search(span)
    if match is None:
        return ""
    return _JARS.get(match[1].replace("-", " "), largest)
