"""How many jars a recipe fills, whatever its kind, and how far that is from what its source prints.

A pot that boils hard or to an end point is weighed (`mass_balance`). What is packed into jars and covered with a
liquid, and what is cooked without a printed end, is reckoned here by classes of food (`data/packing.csv`):

    packed: jar volume = trimmed food in g x fills (ml of jar that a gram takes up)
    cooked: jar volume = everything in the pot in ml x what it boils down to in print x fills (share that is left)

`fills` is the geometric mean over the published recipes of a class, never of one recipe; what else goes in is in
`data/trim.csv` (what is cut away) and `data/shares.csv` (shrinkage). Nothing here changes a process, an acid, a salt
or a canner load: it says how many jars to have ready.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from math import exp, floor, hypot, log
from typing import NamedTuple

from recipes.engine.data import rows
from recipes.engine.mass_balance import (
    FILLING_C,
    HIGHEST_BRIX,
    NO_END,
    PUBLISHED,
    STRAINED_KINDS,
    Foods,
    PotBalance,
    Span,
    WeighedLine,
    density_g_per_ml,
    form_of,
    pot_balance,
    weigh_line,
    words_of,
)
from recipes.engine.messages import Text
from recipes.engine.quantities import JAR_ML, UNITS, US_CUP_ML
from recipes.engine.terms import Ingredient, Refusal, Role, Seen, StatedYield, TestedRecipe, Use

PACKING = "PACKING"  # the rule
PACKED, COOKED, WEIGHED = "packed", "cooked", "weighed"

_FOOD = (Role.FRUIT, Role.LOW_ACID)
_CUT = ("chopped", "sliced", "finely chopped")
_SOLID_G_PER_ML = 1.03  # drained vegetables and fruit; from memory, 1.00 to 1.06

# How a source says that a pot boils down, in the words of our steps.
_HALF = re.compile(r"reduced by one half|down by (?:about )?half|half as much|half of it has boiled away")
_THIRD = re.compile(r"reduced by one third|down by (?:about )?one third")
_PRESSED_OUT = re.compile(r"press(?:ing)? out")
_UNDER_WATER = re.compile(r"[Cc]over (?:them|it) with [^.;]*\bwater and the salt")


# The tables, read when first asked for: a plan of a jam never needs them.


class FoodClass(NamedTuple):
    """Recipes that fill jars alike. `solids`: drained food in a ml of jar, in g, where it is packed in a liquid."""

    name: str
    way: str
    kinds: frozenset[str]
    main: frozenset[str]  # words of the heaviest food, one of which it has; none: any
    words: frozenset[str]  # words of the whole recipe, the same
    when: str  # "boiled down": its source says to how much; "salted": its vegetables stand in salt first; "": any
    fills: Span
    fitted_to: int
    solids: Span | None
    source: str


@cache
def food_classes() -> tuple[FoodClass, ...]:
    """In order: a recipe is of the first class that fits."""
    return tuple(_food_class(row) for row in rows("packing.csv"))


def _food_class(row: Mapping[str, str]) -> FoodClass:
    solids = Span(*(float(row[key]) for key in ("solids_low", "solids", "solids_high"))) if row["solids"] else None
    return FoodClass(
        name=row["name"],
        way=row["way"],
        kinds=frozenset(row["kinds"].split()),
        main=frozenset(row["main"].split()),
        words=frozenset(row["words"].split()),
        when=row["when"],
        fills=Span(float(row["low"]), float(row["fills"]), float(row["high"])),
        fitted_to=int(row["fitted_to"]),
        solids=solids,
        source=row["source"],
    )


@cache
def _shares() -> dict[str, Span]:
    return {row["name"]: Span(*(float(row[key]) for key in ("low", "best", "high"))) for row in rows("shares.csv")}


@cache
def _trims() -> tuple[tuple[frozenset[str], float], ...]:
    return tuple((frozenset(words_of(row["words"])), 1 - float(row["refuse_pct"]) / 100) for row in rows("trim.csv"))


def trimmed_share(item: str) -> float:
    """What is left of a food as bought, by weight; 1 for what the table does not name. Of several names the middle."""
    words = frozenset(words_of(item))
    found = [(stems, kept) for stems, kept in _trims() if stems <= words]
    fullest = [kept for stems, kept in found if not any(stems < other for other, _kept in found)]
    return sum(fullest) / len(fullest) if fullest else 1.0


# What one recipe brings: its class, and its food in grams or its pot in millilitres.


class Basis(NamedTuple):
    """What is multiplied with `fills`: g of trimmed food, or ml in the pot; and what about it was estimated."""

    food_class: FoodClass
    amount: Span
    estimates: tuple[str, ...]
    in_pot_ml: float = 0.0  # before anything boils away; 0 for what is packed


class _Part(NamedTuple):
    line: Ingredient
    grams: Span
    brix: float
    estimate: str


def basis_of(recipe: TestedRecipe, foods: Foods = PUBLISHED) -> Basis | Refusal:
    """The recipe's class and amount. `yield-no-end-point` for a recipe of no class, or without food.

    No class has spreads with added pectin: they boil for a printed minute, and are weighed or nothing.
    """
    parts = _parts(recipe, foods)
    eaten = [part for part in parts if part.line.role in _FOOD]
    found = _class_of(recipe, eaten)
    if found is None:
        return Refusal(NO_END, PACKING)
    estimates = tuple(f"{part.line.item}: {part.estimate}" for part in parts if part.estimate)
    if found.way == PACKED:
        packed = [part.grams for part in eaten if "juice" not in words_of(part.line.item)]
        return Basis(found, _sum(packed), estimates)
    grams = _sum([part.grams for part in parts])
    soluble = sum(part.grams.best * part.brix for part in parts) / 100
    brix = min(100 * soluble / grams.best, HIGHEST_BRIX)
    ml = grams.times(1 / density_g_per_ml(brix, FILLING_C))
    return Basis(found, _product(ml, _boiled_down(recipe)), estimates, ml.best)


def _class_of(recipe: TestedRecipe, eaten: Sequence[_Part]) -> FoodClass | None:
    if not eaten or recipe.pectin in ("powdered", "liquid"):
        return None
    heaviest = max(eaten, key=lambda part: part.grams.best).line
    main = frozenset(words_of(f"{heaviest.item} {heaviest.prep}"))
    lines = (f"{line.item} {line.prep}" for line in recipe.ingredients)
    words = frozenset(words_of(" ".join([recipe.title, *lines, *(step.text for step in recipe.steps)])))
    true = {"": True, "boiled down": _boiled_down(recipe).best < 1, "salted": _salted(recipe) is not None}
    for each in food_classes():
        if (
            recipe.kind in each.kinds
            and true[each.when]
            and (not each.main or each.main & main)
            and (not each.words or each.words & words)
        ):
            return each
    return None


def _parts(recipe: TestedRecipe, foods: Foods) -> list[_Part]:
    salted = _salted(recipe)
    two_liquids = any("for the syrup" in line.prep for line in recipe.ingredients)
    lines = (line for line in recipe.ingredients if line.use is Use.JAR and not _is_poured_off(line, two_liquids))
    return [_part(line, recipe, salted, foods) for line in lines]


def _is_poured_off(line: Ingredient, two_liquids: bool) -> bool:
    """Whether food only simmers in it before another liquid, the syrup, is poured over it in the jar."""
    return two_liquids and "brine" in words_of(line.prep)


def _part(line: Ingredient, recipe: TestedRecipe, salted: Span | None, foods: Foods) -> _Part:
    found = weigh_line(line, pectin=recipe.pectin, strained=recipe.kind in STRAINED_KINDS, foods=foods)
    weighed = _by_guess(line) if isinstance(found, Refusal) else found
    grams = weighed.grams
    if line.role in _FOOD:
        for share in _food_shares(line, salted):
            grams = _product(grams, share)
    return _Part(line, grams, weighed.brix.best, weighed.estimate)


def _by_guess(line: Ingredient) -> WeighedLine:
    """What no table weighs: by the cup as a cut vegetable or a dry bean, else by the piece."""
    unit = UNITS[line.unit]
    if unit.kind == "volume":
        name = "any dry bean" if _is_dry_bean(line) else "any cut vegetable"
        grams = _shares()[name].times(float(line.amount * unit.size / US_CUP_ML))
    else:
        name = "any vegetable apiece" if line.role in _FOOD else "anything else apiece"
        grams = _shares()[name].times(float(line.amount))
    return WeighedLine(line.item, line.role, grams, Span(0, 5, 10), name, f"weighed as {name}")


def _food_shares(line: Ingredient, salted: Span | None) -> Iterator[Span]:
    """What becomes of a food between the scales and the jar."""
    by_volume, words = UNITS[line.unit].kind == "volume", frozenset(words_of(f"{line.item} {line.prep}"))
    of_all = _shares()
    if UNITS[line.unit].kind == "mass" and "lb" not in line.as_bought:
        kept = trimmed_share(line.item)
        yield Span(kept, kept, kept)
    if by_volume and {"tomato", "peeled"} <= words and "green" not in words:
        yield of_all["peeled tomato cup"]
    elif by_volume and _is_cut(line) and not _is_dry_bean(line):
        yield of_all["cut cup"]
    if by_volume and "blanched" in words:
        yield of_all["blanched cup"]
    if _is_dry_bean(line):
        yield of_all["cooked from dry"]
    if "beef" in words:
        yield of_all["meat cooked"]
    if salted is not None:
        yield salted


def _is_cut(line: Ingredient) -> bool:
    """Pieces pressed into a cup; a vegetable of which nothing is said is in pieces too."""
    form = form_of(line)
    return form in _CUT or (not form and line.role is Role.LOW_ACID)


def _is_dry_bean(line: Ingredient) -> bool:
    words = frozenset(words_of(f"{line.item} {line.prep}"))
    return {"dried", "bean"} <= words


def _salted(recipe: TestedRecipe) -> Span | None:
    """What salt leaves of vegetables that stand in it and are drained, or pressed out; None where they do not."""
    if recipe.kind not in ("pickle", "relish"):
        return None
    if any(_PRESSED_OUT.search(step.text) for step in recipe.steps):
        return _shares()["pressed out"]
    soak = {line.role for line in recipe.ingredients if line.use is Use.SOAK}
    if Role.SALT not in soak:
        return None
    in_brine = Role.LIQUID in soak or any(_UNDER_WATER.search(step.text) for step in recipe.steps)
    return _shares()["soaked in brine" if in_brine else "salted"]


def _boiled_down(recipe: TestedRecipe) -> Span:
    """The share that the source says is left, by volume; 1 where it says nothing."""
    text = " ".join([*(line.prep for line in recipe.ingredients), *(step.text for step in recipe.steps)]).lower()
    if _HALF.search(text):
        return _shares()["down by half"]
    return _shares()["down by a third"] if _THIRD.search(text) else Span(1, 1, 1)


def _sum(spans: Sequence[Span]) -> Span:
    """The sum, its reach added as independent errors are, by squares."""
    best = sum(span.best for span in spans)
    down = hypot(*(span.best - span.low for span in spans))
    return Span(best - down, best, best + hypot(*(span.high - span.best for span in spans)))


def _product(one: Span, other: Span) -> Span:
    """The product, its relative reach added by squares; nothing stays nothing."""
    best = one.best * other.best
    if not best:
        return Span(0, 0, one.high * other.high)
    down = hypot(1 - one.low / one.best, 1 - other.low / other.best)
    up = hypot(one.high / one.best - 1, other.high / other.best - 1)
    return Span(best * max(0.0, 1 - down), best, best * (1 + up))


# What a recipe fills.


class Filling(NamedTuple):
    """What one pot fills, in ml as filled and in jars of the stated yield's size.

    `solids_g` and `liquid_ml` are drained food and covering liquid in each such jar, of food packed in a liquid.
    """

    way: str
    food_class: str
    ml: Span
    jars: Span
    solids_g: Span | None
    liquid_ml: Span | None
    estimates: tuple[str, ...]
    assumptions: tuple[Text, ...]

    @property
    def in_a_jar(self) -> tuple[Text, ...]:
        """What lies in one jar, of food packed in a liquid."""
        return tuple(text for text in self.assumptions if text.key == "assumption.in-a-jar")


def filling_of(recipe: TestedRecipe, *, scale: Fraction = Fraction(1), foods: Foods = PUBLISHED) -> Filling | Refusal:
    """What the recipe fills by its class, at `scale` times its amounts. Refusals are those of `basis_of`."""
    basis = basis_of(recipe, foods)
    if isinstance(basis, Refusal):
        return basis
    found, jar_ml = basis.food_class, float(JAR_ML[recipe.stated_yield.jar])
    ml = _product(basis.amount.times(float(scale)), found.fills)
    solids = found.solids.times(jar_ml) if found.solids else None
    liquid = None
    if solids is not None:
        liquid = Span(*(max(0.0, jar_ml - grams / _SOLID_G_PER_ML) for grams in reversed(solids)))
    return Filling(
        way=found.way,
        food_class=found.name,
        ml=ml,
        jars=ml.times(1 / jar_ml),
        solids_g=solids,
        liquid_ml=liquid,
        estimates=basis.estimates,
        assumptions=tuple(_assumptions(found, solids, liquid)),
    )


def _assumptions(found: FoodClass, solids: Span | None, liquid: Span | None) -> Iterator[Text]:
    low, high, recipes = found.fills.low, found.fills.high, found.fitted_to
    if found.way == PACKED:
        yield Text("assumption.packed", {"low": low, "high": high, "recipes": recipes})
    elif recipes:
        yield Text("assumption.cooked", {"low": low, "high": high, "recipes": recipes})
    else:
        yield Text("assumption.cooked-usual", {"low": low, "high": high})
    if solids is not None and liquid is not None:
        yield Text(
            "assumption.in-a-jar",
            {"low": solids.low, "high": solids.high, "least": liquid.low, "most": liquid.high},
        )
    yield Text("assumption.headspace")


# Stated beside predicted: how many jars a source prints for a pot, and how many the models give.


@dataclass(frozen=True)
class YieldRow:
    """One recipe. `predicted` is in jars of `stated.jar`; None with the refusal's message in `why_not`.

    `is_suspect`: the source's own figure cannot be right; it is shown, and is no truth to check against.
    `off_by` is in jars, from the nearest stated count to the nearest end of the interval in whole jars; `best_off_by`
    is the strict figure, from the nearest stated count to the best estimate.
    """

    slug: str
    kind: str
    pectin: str
    stated: StatedYield
    predicted: Span | None
    brix: Span | None
    estimates: tuple[str, ...]
    way: str = ""  # WEIGHED, PACKED or COOKED
    food_class: str = ""
    why_not: str = ""

    @property
    def is_suspect(self) -> bool:
        return self.stated.seen is Seen.SUSPECT

    @property
    def whole_jars(self) -> tuple[int, int] | None:
        """The interval in whole jars, each end to the nearest: what a source that prints whole jars would say."""
        return self.predicted and (floor(self.predicted.low + 0.5), floor(self.predicted.high + 0.5))

    @property
    def is_within(self) -> bool:
        return self.off_by == 0

    @property
    def off_by(self) -> Fraction | None:
        if self.whole_jars is None:
            return None
        low, high = self.whole_jars
        if self.stated.low > high:
            return self.stated.low - high
        return self.stated.high - low if self.stated.high < low else Fraction(0)

    @property
    def best_off_by(self) -> float | None:
        if self.predicted is None:
            return None
        best, low, high = self.predicted.best, float(self.stated.low), float(self.stated.high)
        return min(best - low, 0) or max(best - high, 0)

    @property
    def is_best_inside(self) -> bool:
        """Whether the best estimate, in the whole jars that a source prints, lies inside what it prints."""
        return self.predicted is not None and self.stated.low <= floor(self.predicted.best + 0.5) <= self.stated.high

    @property
    def is_within_a_jar(self) -> bool:
        return self.best_off_by is not None and abs(self.best_off_by) <= 1


def yield_row(recipe: TestedRecipe, foods: Foods = PUBLISHED) -> YieldRow:
    """The row of one recipe, at sea level: weighed where that can be, else by its class."""
    fixed = (recipe.slug, recipe.kind, recipe.pectin, recipe.stated_yield)
    pot = pot_balance(recipe, foods=foods) if recipe.ingredients else Refusal(NO_END, PACKING)
    if isinstance(pot, PotBalance):
        return YieldRow(*fixed, pot.jars, pot.brix, pot.estimates, WEIGHED)
    found = filling_of(recipe, foods=foods)
    if isinstance(found, Refusal):
        return YieldRow(*fixed, None, None, (), why_not=pot.message)
    return YieldRow(*fixed, found.jars, None, found.estimates, found.way, found.food_class)


def yield_rows(recipes: Iterable[TestedRecipe], foods: Foods = PUBLISHED) -> list[YieldRow]:
    """One row a recipe, in the order given."""
    return [yield_row(recipe, foods) for recipe in recipes]


class Fitted(NamedTuple):
    """One printed recipe of a class: what `fills` would have to be for its stated yield, the middle of a range."""

    recipe: TestedRecipe
    food_class: FoodClass
    fills: float


def fitted(recipes: Iterable[TestedRecipe], foods: Foods = PUBLISHED) -> list[Fitted]:
    """Every recipe with a printed yield that goes by a class."""
    found = []
    for recipe in recipes:
        stated = recipe.stated_yield
        if not stated.is_printed or not recipe.ingredients or isinstance(pot_balance(recipe, foods=foods), PotBalance):
            continue
        basis = basis_of(recipe, foods)
        if isinstance(basis, Basis) and basis.amount.best:
            ml = float((stated.low + stated.high) / 2 * JAR_ML[stated.jar])
            found.append(Fitted(recipe, basis.food_class, ml / basis.amount.best))
    return found


def middle_of(fills: Sequence[float]) -> float:
    """The geometric mean: a class that is twice as far one way as the other is off by as much both ways."""
    return exp(sum(map(log, fills)) / len(fills))


def held_out_rows(recipes: Sequence[TestedRecipe], foods: Foods = PUBLISHED) -> list[YieldRow]:
    """Each recipe that goes by a class predicted from the others of its class alone, its own yield left out.

    A class of one has nothing to learn from and gives no prediction.
    """
    every, result = fitted(recipes, foods), []
    for one in every:
        others = [each.fills for each in every if each.food_class.name == one.food_class.name and each is not one]
        row = yield_row(one.recipe, foods)
        if others and row.predicted is not None:
            factor = middle_of(others) / one.food_class.fills.best
            result.append(replace(row, predicted=row.predicted.times(factor)))
        else:
            result.append(replace(row, predicted=None, way="", why_not="The only one of its class."))
    return result


# What the logs teach: a Normal with unknown mean and variance, and its conjugate prior (Normal-inverse-gamma).
#
# One batch is one figure x: what its jars hold, over what its plan filled them from. The prior has the mean m of the
# published figures and is worth PRIOR_BATCHES batches, k = 2, with a = k and b such that its own prediction of the next
# batch is the published interval. After n batches with the mean M and the sum of squares Q about it:
#
#     k' = k + n    m' = (k m + n M) / k'    a' = a + n / 2    b' = b + Q / 2 + k n (M - m)^2 / (2 k')
#
# and the next batch lies at m' + t sqrt(b' (k' + 1) / (a' k')), the mean at m' + t sqrt(b' / (a' k')), with t of
# Student's distribution of 2 a' degrees of freedom. Only n, the sum and the sum of squares are needed, so a database
# adds them up. It says how many jars to have ready, and nothing else: no time, no acid and no load goes by it.

PRIOR_BATCHES = 2.0  # our own choice, no source
_Z_975 = 1.959964


class Logged(NamedTuple):
    """Batches of one recipe, as shares of what their plans filled jars from; the ones left out are only counted."""

    batches: int = 0
    total: float = 0.0
    squares: float = 0.0
    left_out: int = 0


class Learned(NamedTuple):
    """The posterior, in 19 cases of 20: of the next batch, and of the mean of all; shares as in `Logged`."""

    batches: int
    left_out: int
    next_batch: Span
    mean: Span


class Prior(NamedTuple):
    """What the published figures say: `share` as in `Logged`, `jars` of the stated size that a pot is planned for."""

    share: Span
    jars: float


def prior_of(recipe: TestedRecipe) -> Prior | None:
    """From the lowest to the highest of the stated yield and of the prediction; None where neither is known.

    Jars are planned from the low end of the stated yield where that was seen in print, else from the low end of the
    mass balance.
    """
    row, stated = yield_row(recipe), recipe.stated_yield
    if stated.is_printed and stated.seen.is_seen:
        low, high = float(stated.low), float(stated.high)
        least, most = (row.predicted.low, row.predicted.high) if row.predicted else (low, high)
        return Prior(Span(min(low, least), (low + high) / 2, max(high, most)).times(1 / low), low)
    if row.predicted is None or row.way != WEIGHED:
        return None
    return Prior(row.predicted.times(1 / row.predicted.low), row.predicted.low)


def counted_between(prior: Span) -> tuple[float, float]:
    """Shares between which a batch teaches: from half the least published to half as much again as the most.

    What lies beyond is a pot that was shared out, or a slip of the pen. Our own choice, no source.
    """
    return prior.low / 2, prior.high * 1.5


def learned(prior: Span, logged: Logged) -> Learned:
    """The posterior after these batches; without any, the prior's own prediction."""
    n, k, a = logged.batches, PRIOR_BATCHES, PRIOR_BATCHES
    half = max(prior.half_width, 0.01 * prior.best)
    b = a * (half / _student_975(2 * a)) ** 2 * k / (k + 1)
    mean = logged.total / n if n else prior.best
    about = max(0.0, logged.squares - n * mean * mean)
    after_k, after_a = k + n, a + n / 2
    middle = (k * prior.best + n * mean) / after_k
    after_b = b + about / 2 + k * n * (mean - prior.best) ** 2 / (2 * after_k)
    t = _student_975(2 * after_a)
    of_next = t * (after_b * (after_k + 1) / (after_a * after_k)) ** 0.5
    of_mean = t * (after_b / (after_a * after_k)) ** 0.5
    return Learned(n, logged.left_out, _around(middle, of_next), _around(middle, of_mean))


def _around(middle: float, half: float) -> Span:
    return Span(max(0.0, middle - half), middle, middle + half)


def _student_975(degrees: float) -> float:
    """The 97.5 % point of Student's t for 4 degrees of freedom or more, by the Cornish-Fisher series; good to 0.001."""
    z, v = _Z_975, degrees
    return (
        z
        + (z**3 + z) / (4 * v)
        + (5 * z**5 + 16 * z**3 + 3 * z) / (96 * v**2)
        + (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / (384 * v**3)
        + (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / (92160 * v**4)
    )


def left_of_the_pot(recipe: TestedRecipe, jars: Span) -> Span | None:
    """The share of a pot's volume that so many jars of the stated size are; None for packed food, which has no pot."""
    pot = pot_balance(recipe)
    if isinstance(pot, PotBalance):
        brix = min(pot.brix_in.best, HIGHEST_BRIX)
        ml = pot.mass_in_g.best / density_g_per_ml(brix, FILLING_C)
    else:
        basis = basis_of(recipe)
        if isinstance(basis, Refusal) or basis.food_class.way != COOKED:
            return None
        ml = basis.in_pot_ml
    return jars.times(float(JAR_ML[recipe.stated_yield.jar]) / ml)
