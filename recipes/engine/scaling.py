"""How many pots, how big, and what goes into each.

A pot is scaled only as far as the recipe's own test allows; more jars means more pots, never a doubled spread. All pots
of a plan are the same size. What cannot be met is a `Refusal`.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor
from typing import NamedTuple

from recipes.engine.messages import Text
from recipes.engine.quantities import JAR_ML, PACKETS, UNITS, Amount, KitchenAmount, measure_text, round_for_kitchen
from recipes.engine.terms import Ingredient, PotLimits, Refusal, Role, StatedYield, TestedRecipe, Use

MOST_POTS = 60  # in one plan: more than a club can cook in a day (common practice, no source)


@dataclass(frozen=True)
class Pots:
    """So many pots, each so much of the printed amounts; `spare_fruit` is what a plan by fruit leaves over."""

    count: int
    scale: Fraction = Fraction(1)
    spare_fruit: Amount | None = None
    # Of a plan by the canner load: the jars of each load, the first the fullest; `scale` is that of the first, and
    # `whole` all of them of the printed amounts.
    fills: tuple[int, ...] = ()
    whole: Fraction | None = None

    @property
    def total(self) -> Fraction:
        """All pots together, of the printed amounts."""
        return self.count * self.scale if self.whole is None else self.whole


class EachJar(NamedTuple):
    """What goes into one jar of a size, and its text as it is measured."""

    jar: str
    amount: Fraction
    amount_high: Fraction | None
    unit: str
    text: str


class Line(NamedTuple):
    """One ingredient of a plan. `amount` is over all pots and measurable, in the ingredient's unit."""

    ingredient: Ingredient
    amount: Fraction
    amount_high: Fraction | None  # where the source prints a range
    amount_per_pot: Fraction
    text: str
    text_per_pot: str
    grams: Fraction | None  # of `amount`, where the recipe or the unit gives a weight
    rounding_error_pct: Fraction  # of the exact amount
    each: tuple[EachJar, ...] = ()  # where it is measured into each jar


class Cooking(NamedTuple):
    """The pots of a plan and what goes into them; `fruit` is what a pot as printed takes, as the recipe measures it."""

    pots: Pots
    lines: tuple[Line, ...]
    fruit: tuple[Text, ...]


def cooking_for(
    recipe: TestedRecipe, *, pots: int | None, jars: int | None, fruit: Amount | None, jar: str
) -> Cooking | Refusal:
    """The pots that one of the three asks for, with every ingredient rounded as a cook measures it."""
    found: Pots | Refusal
    if (unclear := wish_refusal(pots, jars, fruit)) is not None:
        return unclear
    if fruit is not None:
        found = pots_for_fruit(recipe, fruit)
    elif jars is not None:
        found = pots_for_jars(recipe, jars, jar)
    else:
        found = pots_as_asked(pots)
    if isinstance(found, Refusal):
        return found
    return Cooking(found, amounts_for_pots(recipe, found), fruit_printed(recipe))


def wish_refusal(pots: object, jars: object, fruit: Amount | None) -> Refusal | None:
    """Why this is no wish: just one of the three is given, a whole number from 1 on or a weight."""
    asked = [size for size in (pots, jars, fruit) if size is not None]
    if len(asked) != 1:
        return Refusal("wish-unclear" if asked else "wish-missing", "WISH")
    if pots is not None and whole_count(pots) is None:
        return Refusal("wish-not-positive.pots", "WISH")
    if jars is not None and whole_count(jars) is None:
        return Refusal("wish-not-positive.jars", "WISH")
    return None


def pots_as_asked(pots: object) -> Pots | Refusal:
    """So many whole pots as printed."""
    count = whole_count(pots)
    return Refusal("wish-not-positive.pots", "WISH") if count is None else within_reason(Pots(count))


def pots_for_jars(recipe: TestedRecipe, jars: object, jar: str) -> Pots | Refusal:
    """The pots that fill at least so many jars of a size (a key of `JAR_ML`), by the low end of the stated yield.

    Each pot fills its own jars: two half-filled ones never make a full one.
    """
    wanted = whole_count(jars)
    if wanted is None:
        return Refusal("wish-not-positive.jars", "WISH")
    per_pot = jars_per_pot(recipe, jar)
    if per_pot is None:
        return Refusal("yield-not-seen", "YIELD-STATED")
    limits = limits_of(recipe)
    whole = floor(per_pot * limits.largest)
    if not whole:
        return Refusal("jar-larger-than-pot", "POT-LIMITS")
    count = ceil(Fraction(wanted, whole))
    each = ceil(Fraction(wanted, count))
    return within_reason(Pots(count, _at_least(limits, each / per_pot)))


def pots_for_fruit(recipe: TestedRecipe, fruit: Amount) -> Pots | Refusal:
    """The most that the fruit at hand allows, and what is left over."""
    need = fruit_per_pot(recipe, fruit.unit)
    if need is None:
        return Refusal("fruit-not-comparable", "FRUIT-PREPARED", {"unit": fruit.unit, "fruit": fruit_printed(recipe)})
    limits = limits_of(recipe)
    if fruit.value < need * limits.smallest:
        return Refusal("fruit-too-little", "POT-LIMITS", {"least": Amount(need * limits.smallest, fruit.unit)})
    return within_reason(_most_from(limits, fruit, need))


def _most_from(limits: PotLimits, fruit: Amount, need: Fraction) -> Pots:
    """Of a few larger and a few more smaller pots, whichever uses more of the fruit."""
    worth = fruit.value / need
    more = ceil(worth / limits.largest)
    ways = [Pots(count, _at_most(limits, worth / count)) for count in {more, more - 1} if count > 0]
    best = max((way for way in ways if way.scale >= limits.smallest), key=lambda way: (way.total, -way.count))
    spare = fruit.value - need * best.total
    return Pots(best.count, best.scale, Amount(spare, fruit.unit) if spare else None)


def jars_per_pot(recipe: TestedRecipe, jar: str) -> Fraction | None:
    """Jars of a size from one pot as printed, by volume from the low stated yield; None when that was not seen."""
    stated = stated_for(recipe, jar)
    return stated.low * JAR_ML[stated.jar] / JAR_ML[jar] if stated.seen.is_seen else None


def stated_for(recipe: TestedRecipe, jar: str) -> StatedYield:
    """The yield that is printed for this jar itself and was seen, else the recipe's usual one."""
    printed = (each for each in recipe.other_yields if each.jar == jar and each.seen.is_seen)
    return recipe.stated_yield if jar == recipe.stated_yield.jar else next(printed, recipe.stated_yield)


def fruit_per_pot(recipe: TestedRecipe, unit: str) -> Fraction | None:
    """How much prepared fruit one pot as printed takes, in `unit`; None where the recipe does not say it that way."""
    if unit not in UNITS:
        return None
    shares = [_in_unit(line, unit) for line in fruit_lines(recipe)]
    known = [share for share in shares if share is not None]
    return sum(known, Fraction(0)) if known and len(known) == len(shares) else None


def fruit_lines(recipe: TestedRecipe) -> list[Ingredient]:
    """The lines that are the produce: of the role fruit, or low-acid vegetable where there is none, by name if told."""
    needed = [line for line in recipe.ingredients if not line.optional and line.use is Use.JAR]
    lines = [line for line in needed if line.role is Role.FRUIT] or [
        line for line in needed if line.role is Role.LOW_ACID
    ]
    named = [line for line in lines if any(name.lower() in line.item.lower() for name in recipe.produce)]
    return named or lines


def fruit_printed(recipe: TestedRecipe) -> tuple[Text, ...]:
    """The produce as the recipe measures it: "4 cups strawberries, crushed"."""
    measures = tuple(
        Text(
            "part.measure",
            {"amount": Amount(line.amount, line.unit), "item": f"{line.item}, {line.prep}" if line.prep else line.item},
        )
        for line in fruit_lines(recipe)
    )
    return measures or (Text("part.no-fruit"),)


def limits_of(recipe: TestedRecipe) -> PotLimits:
    """The recipe's own limits; with pectin in packets, one pot exactly, because packets stay whole."""
    if any(line.role is Role.PECTIN and line.unit in PACKETS for line in recipe.ingredients):
        return PotLimits(source=recipe.pot_limits.source)
    return recipe.pot_limits


def amounts_for_pots(recipe: TestedRecipe, pots: Pots) -> tuple[Line, ...]:
    """Every ingredient, rounded for one pot as a cook measures it and then counted over all pots."""
    return tuple(_line(ingredient, pots) for ingredient in recipe.ingredients)


def _line(ingredient: Ingredient, pots: Pots) -> Line:
    exact = ingredient.amount * pots.scale
    low = round_for_kitchen(exact, ingredient.unit, ingredient.role)
    high = _high(ingredient, pots, low)
    total = low.value * pots.count
    total_high = None if high is None else high * pots.count
    return Line(
        ingredient=ingredient,
        amount=total,
        amount_high=total_high,
        amount_per_pot=low.value,
        text=_range_text(total, total_high, low),
        text_per_pot=_range_text(low.value, high, low),
        grams=_grams(ingredient, total),
        rounding_error_pct=low.error_pct,
    )


def _high(ingredient: Ingredient, pots: Pots, low: KitchenAmount) -> Fraction | None:
    if ingredient.amount_high is None:
        return None
    high = round_for_kitchen(ingredient.amount_high * pots.scale, ingredient.unit, ingredient.role)
    return high.value if high.value > low.value else None


def _range_text(value: Fraction, high: Fraction | None, low: KitchenAmount) -> str:
    text = measure_text(value, low.unit) if value else low.text
    return f"{text} to {measure_text(high, low.unit)}" if high else text


def _grams(ingredient: Ingredient, total: Fraction) -> Fraction | None:
    unit = UNITS[ingredient.unit]
    if unit.kind == "mass":
        return total * unit.size
    return None if ingredient.grams is None else ingredient.grams * total / ingredient.amount


def _in_unit(line: Ingredient, unit: str) -> Fraction | None:
    """The line's amount in another unit, through its weight where it has one."""
    own, other = UNITS[line.unit], UNITS[unit]
    if own.kind == other.kind and (own.kind != "count" or own is other):
        return line.amount * own.size / other.size
    return line.grams / other.size if other.kind == "mass" and line.grams is not None else None


def _at_least(limits: PotLimits, need: Fraction) -> Fraction:
    stepped = need if limits.step is None else ceil(need / limits.step) * limits.step
    return max(limits.smallest, stepped)


def _at_most(limits: PotLimits, have: Fraction) -> Fraction:
    """The largest allowed scale within `have`; below `smallest` when even that does not fit."""
    have = min(have, limits.largest)
    return have if limits.step is None else floor(have / limits.step) * limits.step


def whole_count(value: object) -> int | None:
    """A whole number from 1 on, or None."""
    return value if isinstance(value, int) and not isinstance(value, bool) and value >= 1 else None


def within_reason(pots: Pots) -> Pots | Refusal:
    """These pots, unless they are more than one plan holds."""
    if pots.count <= MOST_POTS:
        return pots
    return Refusal("too-many-pots", "WISH", {"most": MOST_POTS})
