"""Changes that are unsafe however they are worded, and what people put round them: the stuff of the crossing test.

Every phrase is unsafe for the recipe it is made for; nothing that is said before or after it makes it safe.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from fractions import Fraction

from recipes.engine.terms import Ingredient, Method, Role, TestedRecipe

RECIPES = (
    "apple-butter",
    "blueberry-pie-filling",
    "bread-and-butter-pickles",
    "chile-salsa",
    "chow-chow-setp",
    "cranberry-orange-chutney",
    "dilly-beans-usda",
    "fig-jam-liquid",
    "golden-pepper-jelly-liquid",
    "mint-jelly-liquid",
    "peach-pineapple-spread",
    "pickle-relish",
    "pickled-beets",
    "salsa-tomato-paste",
    "snap-beans",
    "sweet-pepper-relish",
    "tomato-juice",
    "tomato-ketchup",
    "tomato-sauce-thin",
    "tomatoes-raw-no-liquid",
)

# {a} is the recipe's acid by one of its names.
LESS_ACID = (
    "half the {a}",
    "half {a}",
    "half of the {a}",
    "only half the {a}",
    "{a} half",
    "{a}, half",
    "{a} halved",
    "halve the {a}",
    "1/2 the {a}",
    "½ the {a}",
    "half as much {a}",
    "half the amount of {a}",
    "50% of the {a}",
    "50 % {a}",
    "{a} at 50%",
    "half strength {a}",
    "half {a} half water",
    "{a} and water half and half",
    "{a} cut with water",
    "a third of the {a}",
    "two thirds of the {a}",
    "three quarters of the {a}",
    "3/4 of the {a}",
    "¾ of the {a}",
    "a quarter of the {a}",
    "less {a}",
    "a little less {a}",
    "a little {a}",
    "a bit of {a}",
    "a pinch of {a}",
    "{a}, a pinch",
    "a splash of {a}",
    "a dash of {a}",
    "a drop of {a}",
    "just a little {a}",
    "some of the {a}",
    "part of the {a}",
    "most of the {a}",
    "almost all the {a}",
    "not all the {a}",
    "scant {a}",
    "{a} to taste",
    "no {a}",
    "without {a}",
    "without the {a}",
    "skip the {a}",
    "omit {a}",
    "leave out the {a}",
    "drop the {a}",
    "forget the {a}",
    "reduce {a}",
    "reduce the {a} by half",
    "cut the {a}",
    "cut {a} by a third",
    "go easy on the {a}",
    "one cup less {a}",
    "1 tsp less {a}",
    "minus 1 tbsp {a}",
    "{a} minus a tablespoon",
    "{a} -10%",
    "10% less {a}",
    "{a} reduced by 10 percent",
    "weaker {a}",
    "diluted {a}",
    "watered down {a}",
    "{a} powder",
    "powdered {a}",
    "dried {a}",
    "homemade {a}",
    "3% {a}",
    "4 percent {a}",
    "{a} of 2.5 %",
    "water instead of {a}",
    "water for {a}",
    "water for half the {a}",
    "replace the {a} with water",
    "replace half the {a} with water",
    "swap {a} -> water",
    "wine instead of {a}",
    "{a} is optional",
)
# {n} is part of the tested measure with its unit.
SMALL_MEASURES = (
    "{n} {a}",
    "{n} of {a}",
    "only {n} {a}",
    "just {n} of the {a}",
    "use {n} {a}",
    "{a} {n}",
    "{a}, {n}",
    "{a}, only {n}",
    "{a} only {n}",
    "{a}: {n}",
    "{a} -> {n}",
    "{a} = {n}",
    "reduce {a} to {n}",
    "{n} {a} in all",
    "{n} {a} instead",
    "about {n} {a}",
    "up to {n} {a}",
    "not more than {n} {a}",
    "{n} {a} instead of {full}",
    "({n} {a})",
)
SMALL_PER_JAR = (
    "1/4 tsp {a} per jar",
    "1/4 tsp {a} per pint",
    "1/2 tsp {a} in each quart",
    "use 1/2 tsp {a} to each jar",
    "a teaspoon of {a} in every jar",
    "{a} 1/2 tsp per quart",
    "1 tsp {a} a jar",
    "only 1 tsp {a} for each jar",
)
CITRUS_ONLY = (
    "fresh {c}",
    "freshly squeezed {c}",
    "fresh lemons instead of {c}",
    "homemade {c}",
    "vinegar instead of {c}",
    "cider vinegar for {c}",
    "a pinch of citric acid instead of {c}",
    "citric acid for {c}, a pinch",
    "1/8 tsp citric acid per quart instead of {c}",
    "1/8 tsp citric acid instead of {c}",
    "citric acid instead of {c}, 1/8 tsp",
    "half bottled lime juice instead of {c}",
    "bottled lime juice instead of {c}, only 1 tsp",
    "bottled lime juice instead of {c} and half of it",
    "bottled lime juice for {c}, half the amount",
    "1 tsp bottled lime juice instead of {c}",
    "1 tsp bottled lime juice per quart instead of {c}",
    "use bottled lime juice, 1 tsp",
    "use 1 tsp bottled lime juice",
    "half lime juice",
)
VINEGAR_ONLY = (
    "vinegar powder instead of {c}",
    "rice vinegar for {c}",
    "cider vinegar instead of {c} and half of it",
    "cider vinegar instead of {c}, only 1 tbsp",
    "half cider vinegar instead of {c}",
    "1 tbsp cider vinegar instead of {c}",
    "cider vinegar for {c}, half the amount",
    "cider vinegar, but half",
    "use 1 tbsp cider vinegar",
    "use 1 tbsp white vinegar per jar",
    "fresh lemon juice instead of {c}",
    "lemons for {c}",
    "citric acid for {c}",
    "half bottled lemon juice instead of {c}",
    "1 tbsp bottled lemon juice instead of {c}",
    "1 tbsp bottled lemon juice per jar instead of {c}",
)
MORE_LOW_ACID = (
    "more {v}",
    "extra {v}",
    "double the {v}",
    "twice the {v}",
    "twice as much {v}",
    "{v} doubled",
    "{v} x2",
    "{v} +50%",
    "50% more {v}",
    "a little more {v}",
    "add more {v}",
    "an extra cup of {v}",
)
ALWAYS = (
    "add corn",
    "add 1 cup corn",
    "add a cup of black beans",
    "add garlic",
    "add a little garlic",
    "add fresh onions",
    "put in some mushrooms",
    "throw in a handful of carrots",
    "add bacon",
    "add flour",
    "thicken with cornstarch",
    "add olive oil",
    "add cream",
    "add baking soda",
    "add pumpkin puree",
    "skip the processing",
    "no processing",
    "process half the time",
    "process 5 minutes less",
    "process for 3 minutes",
    "open kettle",
    "turn the jars upside down",
    "reuse the lids",
    "half gallon jars",
    "bands as tight as possible",
    "ignore the altitude",
    "double the recipe",
)
# {x} is the unsafe phrase.
CONNECTORS = (
    "{x}",
    "{x}.",
    "{x}!",
    "{x}?",
    "({x})",
    "please {x}",
    "can I {x}?",
    "I want {x}",
    "use {x}",
    "with {x}",
    "make it with {x}",
    "same but {x}",
    "same recipe, {x}",
    "{x} please",
    "{x} this time",
    "{x} for me",
    "add cinnamon and {x}",
    "add cinnamon and only {x}",
    "add cinnamon, {x}",
    "add cinnamon. {x}",
    "add cinnamon; {x}",
    "add cinnamon: {x}",
    "add cinnamon - {x}",
    "add cinnamon – {x}",
    "add cinnamon / {x}",
    "add cinnamon ({x})",
    "add cinnamon but {x}",
    "add cinnamon plus {x}",
    "add cinnamon with {x}",
    "add cinnamon & {x}",
    "add cinnamon then {x}",
    "add cinnamon also {x}",
    "add cinnamon while {x}",
    "add cinnamon {x}",
    "add 1 tsp cinnamon and {x}",
    "add 1 tsp cinnamon, {x}",
    "cinnamon, {x}",
    "cinnamon and {x}",
    "use cinnamon and {x}",
    "more cinnamon, {x}",
    "new lids, {x}",
    "use new lids and {x}",
    "smaller jar and {x}",
    "{x} and add cinnamon",
    "{x}, add cinnamon",
    "{x}. Add cinnamon.",
    "{x}; add cinnamon",
    "{x} but add cinnamon",
    "{x} plus cinnamon",
    "{x}, cinnamon",
    "{x} with new lids",
    "{x} and use new lids",
    "{x} and more cinnamon",
    "add cinnamon, {x}, use new lids",
)

_MEASURE = {"cup": "cups", "tbsp": "tbsp", "quart": "quarts", "tsp": "tsp"}


def _number(value: Fraction) -> str:
    whole, part = divmod(value, 1)
    return " ".join([*([str(whole)] if whole else []), *([str(part)] if part else [])])


def _acid_names(line: Ingredient) -> tuple[str, ...]:
    if "vinegar" in line.item:
        return ("vinegar", line.item, "white vinegar") if line.item != "cider vinegar" else ("vinegar", line.item)
    return ("lemon juice", "bottled lemon juice", f"{line.item}")


def _of_an_acid(line: Ingredient) -> Iterator[str]:
    full = f"{_number(line.amount)} {_MEASURE[line.unit]}"
    less = [f"{_number(line.amount * part)} {_MEASURE[line.unit]}" for part in (Fraction(1, 4), Fraction(1, 2))]
    for name in dict.fromkeys(_acid_names(line)):
        yield from (form.format(a=name) for form in (*LESS_ACID, *SMALL_PER_JAR))
        yield from (form.format(a=name, n=small, full=full) for form in SMALL_MEASURES for small in less)
    if "vinegar" in line.item:
        yield from (form.format(c=line.item) for form in VINEGAR_ONLY)
    elif "bottled" in line.prep:
        yield from (form.format(c=name) for form in CITRUS_ONLY for name in ("lemon juice", "bottled lemon juice"))


def unsafe_phrases(recipe: TestedRecipe) -> list[str]:
    """Every phrase that is unsafe for this recipe."""
    found = list(ALWAYS)
    for line in recipe.ingredients:
        if line.role is Role.ACID:
            found += _of_an_acid(line)
        elif line.role is Role.LOW_ACID and recipe.method is not Method.PRESSURE:
            found += [form.format(v=line.item) for form in MORE_LOW_ACID]
    return list(dict.fromkeys(found))


def crossed(recipe: TestedRecipe, most: int) -> list[str]:
    """`most` phrases alone and `most` in what people put round them; the same ones at every run."""
    chance = random.Random(recipe.slug)
    phrases = unsafe_phrases(recipe)
    pairs = [(phrase, connector) for phrase in phrases for connector in CONNECTORS]
    around = [connector.format(x=phrase) for phrase, connector in chance.sample(pairs, min(most, len(pairs)))]
    return chance.sample(phrases, min(most, len(phrases))) + around
