"""How many pots, how big, and what goes into each, rounded to what a kitchen can measure.

A pot is scaled only as far as the recipe's own test allows; more jars means more pots, never a doubled spread. All pots
of a plan are the same size. What cannot be met is a `Refusal`.

An amount is rounded by what the ingredient does in the jar. Acid is never rounded down and low-acid vegetables never
up, however small the step: the balance of the two is what keeps the jar safe. Pectin goes by whole packets. An amount
that the measures can already give is left as it is. The tolerances and steps are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from functools import lru_cache
from math import ceil, floor
from typing import NamedTuple

from recipes.engine.quantities import (
    JAR_ML,
    PACKETS,
    UNITS,
    US_CUP_ML,
    Amount,
    ConversionError,
    format_amount,
    format_number,
)
from recipes.engine.rules import refusal
from recipes.engine.terms import Ingredient, PotLimits, Refusal, Role, TestedRecipe

# Rounding.

# How far an amount may move to save scoops.
TOLERANCE = Fraction(2, 100)
TOLERANCE_BY_ROLE: dict[Role, Fraction] = {Role.SPICE: Fraction(5, 100), Role.LIQUID: Fraction(3, 100)}

# Spoons and cups are counted in eighths of a teaspoon, the smallest spoon in a common set.
EIGHTH_ML = US_CUP_ML / 384
CUP, TBSP, TSP = 384, 24, 8
CUP_PARTS = ((0, 0), (96, 1), (128, 1), (192, 1), (256, 2), (288, 2))  # eighths of a tsp, scoops
PATIENCE = 6  # scoops, beyond whole cups, before a rounder amount is looked for

_SCOOPED = frozenset({"tsp", "tbsp", "fl-oz", "cup", "pint", "quart", "gallon"})
_BIG = {"pint": 2 * CUP, "quart": 4 * CUP, "gallon": 16 * CUP}


class Way(Enum):
    """Which way an amount may move."""

    UP = "up"
    DOWN = "down"
    NEAREST = "nearest"


class KitchenAmount(NamedTuple):
    """A measurable amount. `value` is in `unit`; `text` says how to measure it."""

    value: Fraction
    unit: str
    text: str
    error_pct: Fraction  # how far `value` is from what was asked, of what was asked


def way_for(role: Role) -> Way:
    """Acid up, low-acid vegetables down, the rest to the nearest."""
    return {Role.ACID: Way.UP, Role.LOW_ACID: Way.DOWN}.get(role, Way.NEAREST)


def round_for_kitchen(value: Fraction, unit: str, role: Role) -> KitchenAmount:
    """`value` (0 or more) as spoons, cups, grams, ounces or pieces, moved only the way its role allows."""
    if unit not in UNITS:
        raise ConversionError(f"There is no unit called {unit!r}.")
    if value <= 0:
        return KitchenAmount(Fraction(0), unit, "none", Fraction(0))
    rounded = _rounder(unit, role)(value, unit, role)
    text = measure_text(rounded, unit) if rounded else "leave out"
    return KitchenAmount(rounded, unit, text, (rounded - value) / value * 100)


def measure_text(value: Fraction, unit: str) -> str:
    """How to measure a rounded amount: "2 cups + 3 tbsp", "3 lb 4 oz", "2 boxes", "560 ml"."""
    if unit in _SCOOPED:
        eighths = value * UNITS[unit].size / EIGHTH_ML
        if eighths.denominator == 1:
            return _scoop_text(int(eighths), unit)
    if unit == "lb":
        return _pound_text(value)
    if unit in ("metric-cup", "imperial-cup"):
        return format_amount(value * UNITS[unit].size, "ml")
    return format_amount(value, unit)


def _rounder(unit: str, role: Role) -> Callable[[Fraction, str, Role], Fraction]:
    if unit in _SCOOPED:
        return _round_scoops
    if role is Role.PECTIN and unit in PACKETS:
        return _round_packets
    return _round_steps


def _round_packets(value: Fraction, unit: str, role: Role) -> Fraction:
    return Fraction(max(1, floor(value + Fraction(1, 2))))


def _round_steps(value: Fraction, unit: str, role: Role) -> Fraction:
    size = UNITS[unit].size
    step = _step_for(value * size, unit) / size
    return _to_step(value, step, way_for(role))


def _to_step(value: Fraction, step: Fraction, way: Way) -> Fraction:
    if way is Way.UP:
        return ceil(value / step) * step
    if way is Way.DOWN:
        return floor(value / step) * step
    return max(step, floor(value / step + Fraction(1, 2)) * step)


def _step_for(size: Fraction, unit: str) -> Fraction:
    """The step, in ml, g or pieces, for an amount of that many ml, g or pieces."""
    kind = UNITS[unit].kind
    if kind == "count":
        return Fraction(1, 4)
    if unit in ("oz", "lb"):
        ounce = UNITS["oz"].size
        return ounce / 4 if size < 16 * ounce else (ounce / 2 if size < 160 * ounce else ounce)
    if kind == "mass":
        return Fraction(1) if size < 50 else Fraction(5)
    steps = ((10, Fraction(1, 4)), (50, Fraction(1)), (250, Fraction(5)))
    return next((step for limit, step in steps if size < limit), Fraction(10))


def _round_scoops(value: Fraction, unit: str, role: Role) -> Fraction:
    exact = value * UNITS[unit].size / EIGHTH_ML
    whole = 6 * _BIG.get(unit, CUP)
    if exact.denominator == 1 and (exact < 96 or _scoops(int(exact) % CUP)[0] <= PATIENCE or exact % (CUP // 16) == 0):
        return value
    best = min(_candidates(exact, role, whole), key=lambda n: (_scoops(n % CUP)[0] + n // CUP, abs(n - exact), n))
    return best * EIGHTH_ML / UNITS[unit].size


def _candidates(exact: Fraction, role: Role, whole: int) -> list[int]:
    """Every eighth of a teaspoon within the tolerance on the allowed side; the next one when there is none."""
    way, slack = way_for(role), exact * TOLERANCE_BY_ROLE.get(role, TOLERANCE)
    low = ceil(exact if way is Way.UP else exact - slack)
    high = floor(exact if way is Way.DOWN else exact + slack)
    stride = next((step for step in (CUP, 96, TBSP) if step * 4 <= high - low and exact > whole), 1)
    found = [n for n in range(-(-low // stride) * stride, high + 1, stride) if n > 0]
    return found or [int(_to_step(exact, Fraction(1), way))]


@lru_cache(maxsize=CUP)
def _scoops(eighths: int) -> tuple[int, int, int]:
    """Fewest scoops for less than a cup: how many, how many of them spoons, the cup measure's eighths."""

    def spoons(rest: int) -> int:
        count = 0
        for spoon in (TBSP, TSP, 4, 2, 1):
            count += rest // spoon
            rest %= spoon
        return count

    ways = (
        (cups + spoons(eighths - part), spoons(eighths - part), part) for part, cups in CUP_PARTS if part <= eighths
    )
    return min(ways)


def _scoop_text(eighths: int, unit: str) -> str:
    parts = []
    if big := _BIG.get(unit):
        count, eighths = divmod(eighths, big)
        parts += [format_amount(Fraction(count), unit)] if count else []
    cups, rest = divmod(eighths, CUP)
    part = _scoops(rest)[2]
    if cups or part:
        parts.append(format_amount(cups + Fraction(part, CUP), "cup"))
    tablespoons, rest = divmod(rest - part, TBSP)
    parts += [f"{tablespoons} tbsp"] if tablespoons else []
    quarters, eighth = divmod(rest, 2)
    parts += [f"{format_number(Fraction(quarters, 4))} tsp"] if quarters else []
    parts += ["1/8 tsp"] if eighth else []
    return " + ".join(parts)


def _pound_text(value: Fraction) -> str:
    if (value * 4).denominator == 1:
        return format_amount(value, "lb")
    pounds, ounces = divmod(value * 16, 16)
    ounce_text = format_amount(ounces, "oz")
    return f"{pounds} lb {ounce_text}" if pounds else ounce_text


# Pots: for pots, for jars wanted, or for fruit at hand.

MOST_POTS = 60  # in one plan: more than a club can cook in a day (common practice, no source)


@dataclass(frozen=True)
class Pots:
    """So many pots, each so much of the printed amounts; `spare_fruit` is what a plan by fruit leaves over."""

    count: int
    scale: Fraction = Fraction(1)
    spare_fruit: Amount | None = None

    @property
    def total(self) -> Fraction:
        """All pots together, of the printed amounts."""
        return self.count * self.scale


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


class Cooking(NamedTuple):
    """The pots of a plan and what goes into them; `fruit` is what a pot as printed takes, as the recipe measures it."""

    pots: Pots
    lines: tuple[Line, ...]
    fruit: str


def cooking_for(
    recipe: TestedRecipe, *, pots: int | None, jars: int | None, fruit: Amount | None, jar: str
) -> Cooking | Refusal:
    """The pots that one of the three asks for, with every ingredient rounded as a cook measures it."""
    asked = [size for size in (pots, jars, fruit) if size is not None]
    found: Pots | Refusal
    if len(asked) != 1:
        code = "wish-unclear" if asked else "wish-missing"
        found = refusal(code, "WISH", "Say one thing to plan from: how many pots, how many jars, or how much fruit.")
    elif fruit is not None:
        found = pots_for_fruit(recipe, fruit)
    elif jars is not None:
        found = pots_for_jars(recipe, jars, jar)
    else:
        found = pots_as_asked(pots)
    if isinstance(found, Refusal):
        return found
    return Cooking(found, amounts_for_pots(recipe, found), fruit_printed(recipe))


def pots_as_asked(pots: object) -> Pots | Refusal:
    """So many whole pots as printed."""
    count = _count(pots, "pots")
    return count if isinstance(count, Refusal) else _within_reason(Pots(count))


def pots_for_jars(recipe: TestedRecipe, jars: object, jar: str) -> Pots | Refusal:
    """The pots that fill at least so many jars of a size (a key of `JAR_ML`), by the low end of the stated yield.

    Each pot fills its own jars: two half-filled ones never make a full one.
    """
    wanted = _count(jars, "jars")
    if isinstance(wanted, Refusal):
        return wanted
    per_pot = jars_per_pot(recipe, jar)
    if per_pot is None:
        return refusal(
            "yield-not-seen",
            "YIELD-STATED",
            "How many jars one pot fills is not checked in print for this recipe, so jars cannot be promised. Plan "
            "by pots instead.",
        )
    limits = limits_of(recipe)
    whole = floor(per_pot * limits.largest)
    if not whole:
        return refusal(
            "jar-larger-than-pot",
            "POT-LIMITS",
            "One pot does not fill a jar of this size, and two pots never go into one jar. Use smaller jars.",
        )
    count = ceil(Fraction(wanted, whole))
    each = ceil(Fraction(wanted, count))
    return _within_reason(Pots(count, _at_least(limits, each / per_pot)))


def pots_for_fruit(recipe: TestedRecipe, fruit: Amount) -> Pots | Refusal:
    """The most that the fruit at hand allows, and what is left over."""
    need = fruit_per_pot(recipe, fruit.unit)
    if need is None:
        return refusal(
            "fruit-not-comparable",
            "FRUIT-PREPARED",
            f"The recipe measures its fruit in a way that cannot be compared with {fruit.unit}. Measure it as the "
            f"recipe does (one pot takes {fruit_printed(recipe)}), or plan by pots.",
        )
    limits = limits_of(recipe)
    if fruit.value < need * limits.smallest:
        least = format_amount(need * limits.smallest, fruit.unit)
        return refusal(
            "fruit-too-little",
            "POT-LIMITS",
            f"The smallest pot that the test allows takes {least} of prepared fruit. Gather more, or choose a "
            f"smaller recipe.",
        )
    return _within_reason(_most_from(limits, fruit, need))


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
    volume = volume_per_pot_ml(recipe)
    return None if volume is None else volume / JAR_ML[jar]


def volume_per_pot_ml(recipe: TestedRecipe) -> Fraction | None:
    """What one pot as printed is sure to fill, in ml; None when the yield was not seen in print."""
    stated = recipe.stated_yield
    return stated.low * JAR_ML[stated.jar] if stated.seen.is_seen else None


def fruit_per_pot(recipe: TestedRecipe, unit: str) -> Fraction | None:
    """How much prepared fruit one pot as printed takes, in `unit`; None where the recipe does not say it that way."""
    if unit not in UNITS:
        return None
    shares = [_in_unit(line, unit) for line in fruit_lines(recipe)]
    known = [share for share in shares if share is not None]
    return sum(known, Fraction(0)) if known and len(known) == len(shares) else None


def fruit_lines(recipe: TestedRecipe) -> list[Ingredient]:
    """The lines that are the produce: of the role fruit, or low-acid vegetable where there is none, by name if told."""
    needed = [line for line in recipe.ingredients if not line.optional]
    lines = [line for line in needed if line.role is Role.FRUIT] or [
        line for line in needed if line.role is Role.LOW_ACID
    ]
    named = [line for line in lines if any(name.lower() in line.item.lower() for name in recipe.produce)]
    return named or lines


def fruit_printed(recipe: TestedRecipe) -> str:
    """The produce as the recipe measures it: "4 cups strawberries, crushed"."""
    said = [", ".join(filter(None, (line.item, line.prep))) for line in fruit_lines(recipe)]
    amounts = [format_amount(line.amount, line.unit) for line in fruit_lines(recipe)]
    return " and ".join(f"{amount} {name}" for amount, name in zip(amounts, said, strict=True)) or "no fruit"


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


def _count(value: object, what: str) -> int | Refusal:
    if isinstance(value, int) and not isinstance(value, bool) and value >= 1:
        return value
    return refusal("wish-not-positive", "WISH", f"Say how many {what} as a whole number, 1 or more.")


def _within_reason(pots: Pots) -> Pots | Refusal:
    if pots.count <= MOST_POTS:
        return pots
    return refusal(
        "too-many-pots",
        "WISH",
        f"That takes more than {MOST_POTS} pots, more than one plan can hold. Check the number, or make several plans.",
    )
