"""Sugar solutions, what foods weigh and hold, and the mass balance of a pot: how many jars it fills."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property, lru_cache
from math import floor, hypot, log
from typing import NamedTuple

from recipes.engine.data import rows
from recipes.engine.messages import Text
from recipes.engine.physics import Burner, minutes_to_boil_off
from recipes.engine.quantities import JAR_ML, POUND_G, UNITS, US_CUP_ML
from recipes.engine.terms import Ingredient, Method, Refusal, Role, TestedRecipe, Use

# Sugar solutions: how heavy they are, and how far above water they boil.
#
# Density at 20 C: the sucrose table of the CRC Handbook of Chemistry and Physics (Concentrative Properties of Aqueous
# Solutions), read between its rows in a straight line. Change with temperature: the ICUMSA polynomial of 1994 in the
# form of Bubnik, Kadlec, Urban and Bruhns, Sugar Technologists Manual, 8th ed. 1995, p. 164, whose coefficients agree
# in two separate transcriptions but for the fourth (-3.9643 and -3.9646: 0.0003 kg/m3 at most). Used alone the
# polynomial lies within 0.06 % of the table: a newer series of measurements, and nothing a jar can show.
#
# Boiling-point rise: C. A. Browne, Handbook of Sugar Analysis, 1912, as repeated in Lowe, Experimental Cookery.
# Fruit sugars and acids raise the boiling point more than sucrose alone, and newer measurements of pure sucrose lie
# below Browne's; the two about cancel in jam. `BRIX_UNCERTAIN` says how far the tables part.

ROOM_C = 20.0
HOTTEST_C = 110.0

# Degrees Brix and density at 20 C in kg/m3, as printed (four decimals of a g/ml).
DENSITY_20C = tuple((float(row["brix"]), float(row["kg_per_m3"])) for row in rows("density.csv"))
HIGHEST_BRIX = DENSITY_20C[-1][0]

# Row i, column j: coefficient of w^(j+1) u^i with w the mass fraction and u = (t - 20 C) / 100; kg/m3 above water.
_ICUMSA = (
    (385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890),
    (-46.2720, -7.1720, 1.1597, 5.1126, 17.5254),
    (59.7712, 7.2491, 12.3630, -35.4791),
    (-47.2207, -21.6977, 27.6301),
    (18.3184, 12.3081),
)
# Water, 0 to 100 C at one atmosphere: G. S. Kell, J. Chem. Eng. Data 20 (1975) 97.
_WATER = (999.83952, 16.952577, -7.9905127e-3, -46.241757e-6, 105.84601e-9, -281.03006e-12)
_WATER_BELOW = 16.887236e-3

# Degrees Brix and the rise above boiling water at sea level, in C, as printed; nothing dissolved, no rise.
RISE_C = tuple((float(row["brix"]), float(row["rise_c"])) for row in rows("boiling_rise.csv"))
BRIX_UNCERTAIN = 2.5  # between the published tables at one rise, near the jelly point
SEA_LEVEL_BOILING_C = 100.0
_ZERO_K = 273.15


class OutsideTableError(ValueError):
    """The value lies outside the published table; nothing is read beyond its ends."""


def density_g_per_ml(brix: float, temperature_c: float = ROOM_C) -> float:
    """Grams in a millilitre, 0 to 84 degrees Brix and 0 to 110 C. Raises `OutsideTableError`."""
    if not 0 <= temperature_c <= HOTTEST_C:
        raise OutsideTableError(f"No density is printed for {temperature_c} C.")
    index = _row(DENSITY_20C, brix)
    (brix_a, density_a), (brix_b, density_b) = DENSITY_20C[index], DENSITY_20C[index + 1]
    at_20c = density_a + (density_b - density_a) * (brix - brix_a) / (brix_b - brix_a)
    return at_20c * icumsa_kg_per_m3(brix, temperature_c) / icumsa_kg_per_m3(brix, ROOM_C) / 1000


def icumsa_kg_per_m3(brix: float, temperature_c: float) -> float:
    """The ICUMSA polynomial by itself, in kg/m3."""
    w, u = brix / 100, (temperature_c - ROOM_C) / 100
    dissolved = 0.0
    for row in reversed(_ICUMSA):
        in_w = 0.0
        for coefficient in reversed(row):
            in_w = (in_w + coefficient) * w
        dissolved = dissolved * u + in_w
    return _water_kg_per_m3(temperature_c) + dissolved


def boiling_rise_c(brix: float, boiling_water_c: float = SEA_LEVEL_BOILING_C) -> float:
    """How far above boiling water a solution boils where water boils at `boiling_water_c`.

    Between rows the rise grows by equal factors, as it does in the table. Raises `OutsideTableError`.
    """
    index = _row(RISE_C, brix)
    (brix_a, rise_a), (brix_b, rise_b) = RISE_C[index], RISE_C[index + 1]
    part = (brix - brix_a) / (brix_b - brix_a)
    rise = rise_a * (rise_b / rise_a) ** part if rise_a else rise_b * part
    return rise * _thinner_air(boiling_water_c)


def brix_at_rise(rise_c: float, boiling_water_c: float = SEA_LEVEL_BOILING_C) -> float:
    """The degrees Brix that boil so far above water: `boiling_rise_c` read the other way."""
    rise = rise_c / _thinner_air(boiling_water_c)
    rises = tuple((row_rise, brix) for brix, row_rise in RISE_C)
    index = _row(rises, rise)
    (rise_a, brix_a), (rise_b, brix_b) = rises[index], rises[index + 1]
    part = log(rise / rise_a) / log(rise_b / rise_a) if rise_a else rise / rise_b
    return brix_a + part * (brix_b - brix_a)


def _thinner_air(boiling_water_c: float) -> float:
    # Clausius and Clapeyron: a given lowering of the vapour pressure is worth a rise in proportion to T squared.
    return ((boiling_water_c + _ZERO_K) / (SEA_LEVEL_BOILING_C + _ZERO_K)) ** 2


@lru_cache(maxsize=64)
def _water_kg_per_m3(temperature_c: float) -> float:
    above = sum(c * temperature_c**power for power, c in enumerate(_WATER))
    return above / (1 + _WATER_BELOW * temperature_c)


def _row(table: Sequence[tuple[float, float]], value: float) -> int:
    """The row below `value`, such that another follows. Raises `OutsideTableError`."""
    if not table[0][0] <= value <= table[-1][0]:
        raise OutsideTableError(f"{value:.1f} lies outside the table, which runs to {table[-1][0]}.")
    return min(bisect_right(table, (value, float("inf"))), len(table) - 1) - 1


# What foods weigh and how much of them dissolves: degrees Brix in `data/solids.csv`, grams in a US cup in
# `data/cups.csv`, grams apiece in `data/apiece.csv` ("each", and boxes, pouches, cloves and sticks by their name). The
# words that must all occur in a line, and the food they name, are `data/food_names.csv`; pectin goes by its kind.
#
# Solids of fruit: 21 CFR 101.30(h), which gives legal averages for single-strength juice, taken for the whole fruit
# too. Where a list gave nothing, 100 less the water of USDA SR26 less an estimate of what does not dissolve. Weights:
# USDA household weights where there is one. A row whose source begins with "estimate" was printed by nobody and carries
# its own reach; others reach as far as ripe fruit or level cups of that kind differ: common practice, no source.

RIPENESS = 0.2  # either way; most of a pot's solids is its sugar, so this matters little
MEASURED = {"poured": 0.02, "levelled": 0.03, "cut": 0.08}  # liquids; dry sugar and salt; pieces and whole berries

ANY_FRUIT = (6, 11, 18)  # a fruit that no list has
ANY_OTHER = (0, 10, 30)  # anything else: only ever spoonfuls

# A line that names one of these is of that thing, whatever fruit gives it its flavour (apple cider vinegar).
STAND_ALONE = frozenset(row["food"] for row in rows("solids.csv") if row["stands_alone"])

# Any fruit made nearly liquid fills its cup, whatever it is: grams in a cup between a fluffy and a dense mash.
ANY_FRUIT_WEIGHT: dict[str, tuple[float, float, float]] = {
    "crushed": (220, 240, 258),
    "ground": (200, 228, 250),
    "finely chopped": (165, 205, 240),
    "juice": (240, 248, 256),
}
ANY_LIQUID = (230, 240, 256)
ANY_SPICE = (40, 100, 200)


# The types, and finding a recipe's words among the foods of a table.
#
# A `Foods` value is passed to whatever needs one; `PUBLISHED` below is the default. A figure is a `Span`: 95 of 100
# kitchens are taken to lie between its ends.

# Words that say how a food was cut, most telling first: "fresh or thawed, crushed" is crushed.
_FORMS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("juice", ("juice", "juiced", "cider")),
    ("crushed", ("crushed", "mashed", "pureed", "puree", "pulp")),
    ("ground", ("ground", "minced")),
    ("finely chopped", ("finely",)),
    ("grated", ("grated", "shredded", "zested")),
    ("cooked", ("cooked", "stewed")),
    ("chopped", ("chopped", "diced", "quartered", "cubed", "cubes", "chunks", "pieces", "cut")),
    ("sliced", ("sliced", "slices", "sections", "slivered")),
    ("halves", ("halved", "halves")),
    ("pitted", ("pitted",)),
    ("unpacked", ("unpacked",)),
    ("packed", ("packed",)),
    ("whole", ("whole", "stemmed", "capped", "hulled")),
)
# What else may stand for a form that the table lacks, at NEAR_REACH more either way. Uncut food is whole: no estimate.
_NEAR: dict[str, tuple[str, ...]] = {
    "crushed": ("cooked",),
    "ground": ("crushed",),
    "cooked": ("crushed",),
    "chopped": ("sliced", "pitted", "halves"),
    "sliced": ("chopped", "halves"),
    "halves": ("sliced", "chopped"),
    "pitted": ("whole", "sliced"),
}
_UNCUT = ("", "whole", "chopped", "sliced", "packed")
NEAR_REACH = 0.1


class Span(NamedTuple):
    """A figure with its reach: `low` <= `best` <= `high`, all in the unit its field names."""

    low: float
    best: float
    high: float

    def times(self, factor: float) -> Span:
        return Span(self.low * factor, self.best * factor, self.high * factor)

    @property
    def half_width(self) -> float:
        return (self.high - self.low) / 2


class Figure(NamedTuple):
    """A span with where it comes from; an estimate is one that nobody printed for this very food and form."""

    span: Span
    source: str
    is_estimate: bool = False


@dataclass(frozen=True)
class Foods:
    """Grams in a US cup by food and form, grams apiece, degrees Brix, and the words that name a food."""

    grams_per_cup: Mapping[tuple[str, str], Figure]
    grams_each: Mapping[str, Figure]
    brix: Mapping[str, Figure]
    names: tuple[tuple[str, str], ...]  # words, food

    @cached_property
    def _stems(self) -> tuple[tuple[frozenset[str], str], ...]:
        return tuple((frozenset(words_of(words)), food) for words, food in self.names)

    def named_in(self, text: str) -> tuple[str, ...]:
        """The foods that `text` names: the fullest names only, so that orange peel is no orange."""
        words = frozenset(words_of(text))
        found = [(stems, food) for stems, food in self._stems if stems <= words]
        kept = [food for stems, food in found if not any(stems < other for other, _ in found)]
        named = [food for food in kept if food in STAND_ALONE]
        return tuple(dict.fromkeys(named or kept))

    def cup_of(self, food: str, form: str) -> Figure | None:
        """A cup of the food in this form, or in one near it: then it is an estimate, and reaches wider."""
        for known in (form,) if form else _UNCUT:
            if (figure := self.grams_per_cup.get((food, known))) is not None:
                return figure
        for near in _NEAR.get(form, ()):
            if (figure := self.grams_per_cup.get((food, near))) is not None:
                span = figure.span
                wide = Span(span.low * (1 - NEAR_REACH), span.best, span.high * (1 + NEAR_REACH))
                return Figure(wide, f"estimate: taken equal to {near}, {figure.source}", is_estimate=True)
        return None


@lru_cache(maxsize=1024)
def words_of(text: str) -> tuple[str, ...]:
    """The words of `text`, small letters, singular: "Sour cherries" is sour and cherry."""
    return tuple(_singular(word) for word in re.findall(r"[a-z]+", text.lower()))


def form_of(line: Ingredient) -> str:
    """How the food of this line was cut, in the words of the weight table."""
    words = frozenset(re.findall(r"[a-z]+", f"{line.item} {line.prep}".lower()))
    return next((form for form, telling in _FORMS if words & set(telling)), "")


def _singular(word: str) -> str:
    if word.endswith("ies") and len(word) > 4:
        return word[:-3] + "y"
    if word.endswith(("oes", "ches", "shes")):
        return word[:-2]
    return word[:-1] if word.endswith("s") and not word.endswith("ss") else word


def _figure(row: Mapping[str, str], unit: str, reach: float) -> Figure:
    best, source = float(row[unit]), row["source"]
    low, high = float(row["low"] or best * (1 - reach)), float(row["high"] or best * (1 + reach))
    return Figure(Span(low, best, high), source, is_estimate=source.startswith("estimate"))


PUBLISHED = Foods(
    grams_per_cup={
        (row["food"], row["form"]): _figure(row, "grams", MEASURED.get(row["measured"], 0)) for row in rows("cups.csv")
    },
    grams_each={row["food"]: _figure(row, "grams", 0) for row in rows("apiece.csv")},
    brix={row["food"]: _figure(row, "brix", RIPENESS) for row in rows("solids.csv")},
    names=tuple((row["words"], row["food"]) for row in rows("food_names.csv")),
)

# What one line of a recipe weighs and how much of it dissolves; or a refusal that names the line.
#
# A weight is taken, in this order: from the line itself, from its unit when that is a mass, from a published household
# weight, from an estimate for that food, from an estimate for any food so cut. Whatever is estimated says so and has
# the wider reach. A line that none of these covers is refused: nothing is guessed in silence.

MASS_BALANCE = "MASS-BALANCE"  # the rule

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
    names = foods.named_in(f"{line.item} {line.prep}")
    if line.role is Role.PECTIN:
        is_liquid = line.unit == "pouch" or "liquid" in line.prep.lower() or (pectin == "liquid" and line.unit != "box")
        names = ("liquid pectin",) if is_liquid else ("powdered pectin",)
    weight = _weight(line, names, foods)
    if weight is None:
        what = f"{line.item}, {line.prep}" if line.prep else line.item
        return Refusal("yield-line-without-weight", MASS_BALANCE, {"line": what, "unit": line.unit})
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
        return Refusal("yield-line-without-weight.cup", MASS_BALANCE, {"food": food, "form": missing})
    grams = before.span.times(cups)
    return Span(grams.low / after.span.high, grams.best / after.span.best, grams.high / after.span.low)


def _weight(line: Ingredient, names: Sequence[str], foods: Foods) -> Figure | None:
    """Grams of the whole line, over everything that the recipe leaves open."""
    unit = UNITS[line.unit]
    if line.grams is not None:
        figure: Figure | None = _on_the_line(line, names, foods)
    elif unit.kind == "mass":
        grams = float(line.amount * unit.size)
        figure = Figure(Span(grams * (1 - SCALE_REACH), grams, grams * (1 + SCALE_REACH)), "weighed")
    elif unit.kind == "volume":
        figure = _scaled(_cup(line, names, foods), float(line.amount * unit.size / US_CUP_ML))
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
    if line.role is Role.FRUIT and form in ANY_FRUIT_WEIGHT:
        return Figure(Span(*ANY_FRUIT_WEIGHT[form]), f"estimate for any fruit, {form}", True)
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
    return Span(*(ANY_FRUIT if line.role is Role.FRUIT else ANY_OTHER))


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


# The mass balance of a pot: what goes in, what boils off, what is left, how dense it is, how many jars it fills.
#
# What is not in the jars has boiled off or stayed behind (foam, pot, ladle). Solids do not boil off. Three kinds of
# pot are reckoned: boiled hard for the minutes that the recipe prints (added pectin), boiled to an end point (degrees
# above boiling water), and not boiled (freezer spreads). Any other kind is refused: its source prints no end point.
#
# An interval is where 19 kitchens of 20 should land: every uncertain figure is moved to its two ends by itself and the
# effects are added as independent errors are, by squares. `assumptions` lists what no source prints.

FILLING_C = 90.0  # hot spreads go into the jar at about this; common practice, no source
HARD_BOIL_OFF = Span(0.01, 0.03, 0.055)  # share of what boils, on the way to the boil and during its minute
UNBOILED_OFF = Span(0, 0.002, 0.01)  # only the pectin's own water is boiled
LEFT_BEHIND = Span(0.005, 0.02, 0.04)  # foam, pot, ladle and funnel
NO_END = "yield-no-end-point"

STRAINED_KINDS = frozenset({"jelly", "syrup"})


class PotBalance(NamedTuple):
    """One cook of a recipe. Grams, millilitres and degrees Brix; `jars` counts the jar of the stated yield."""

    recipe: str
    lines: tuple[WeighedLine, ...]
    mass_in_g: Span
    brix_in: Span
    boiled_off_g: Span
    left_behind_g: Span
    product_g: Span
    brix: Span
    filling_c: float
    density_filling_g_per_ml: float
    density_room_g_per_ml: float
    volume_filling_ml: Span
    volume_room_ml: Span
    jar: str
    jars: Span
    estimates: tuple[str, ...]
    assumptions: tuple[Text, ...]

    @property
    def whole_jars(self) -> tuple[int, int]:
        """The interval in whole jars, each end to the nearest: what a source that prints whole jars would say."""
        return floor(self.jars.low + 0.5), floor(self.jars.high + 0.5)


class _Case(NamedTuple):
    """A pot with every uncertain figure at one value, in grams. `end_brix` None: `off_share` of what boils goes off."""

    mass: float
    soluble: float
    boiling: float
    off_share: float
    end_brix: float | None
    left_share: float
    filling_c: float


class _Cooked(NamedTuple):
    mass_in: float
    brix_in: float
    off: float
    left: float
    product: float
    brix: float
    filling_ml: float


def pot_balance(
    recipe: TestedRecipe,
    *,
    scale: Fraction = Fraction(1),
    boiling_water_c: float = SEA_LEVEL_BOILING_C,
    foods: Foods = PUBLISHED,
) -> PotBalance | Refusal:
    """The balance of one pot at `scale` times the recipe, where water boils at `boiling_water_c`.

    Refusals: a line without a weight (`yield-line-without-weight`, naming it), a recipe whose source prints neither
    a hard boil nor an end point (`yield-no-end-point`), a pot too thick for the tables (`yield-beyond-tables`).
    """
    if recipe.method is Method.PRESSURE or not _ends(recipe):
        return Refusal(NO_END, MASS_BALANCE)
    weighed = weigh_lines(recipe, foods)
    if isinstance(weighed, Refusal):
        return weighed
    if scale <= 0 or not weighed:
        raise ValueError("A pot has at least one line and a scale above nothing.")
    lines = tuple(line._replace(grams=line.grams.times(float(scale))) for line in weighed)
    try:
        return _balance(recipe, lines, boiling_water_c)
    except OutsideTableError:
        return Refusal("yield-beyond-tables", MASS_BALANCE)


def weigh_lines(recipe: TestedRecipe, foods: Foods = PUBLISHED) -> tuple[WeighedLine, ...] | Refusal:
    """Every line of the recipe weighed, or the refusal of the first that cannot be."""
    strained = recipe.kind in STRAINED_KINDS
    lines = []
    for line in (line for line in recipe.ingredients if line.use is Use.JAR):
        found = weigh_line(line, pectin=recipe.pectin, strained=strained, foods=foods)
        if isinstance(found, Refusal):
            return found
        lines.append(found)
    return tuple(lines)


def water_to_boil_off_g(mass_g: float, soluble_g: float, end_brix: float) -> float:
    """Grams of water between this pot and `end_brix`; nothing where it is as thick already."""
    if not 0 < end_brix <= 100:
        raise ValueError("An end point lies above 0 and at most at 100 degrees Brix.")
    return max(0.0, mass_g - soluble_g * 100 / end_brix)


class BoilOn(NamedTuple):
    """From a reading at the boil to the end point: its degrees Brix, grams of water to go, whole minutes of boiling.

    The minutes take a burner's whole power for boiling; a slower boil takes longer.
    """

    end_brix: Span
    water_g: Span
    minutes: tuple[int, int]


def boil_on(
    recipe: TestedRecipe, brix: float, *, scale: Fraction, boiling_water_c: float, burner: Burner
) -> BoilOn | Refusal:
    """What is still to be boiled off one pot that reads `brix`; nothing where it is as thick as its end point already.

    Solids do not boil off: a pot with S grams of them weighs 100 S / brix now, and 100 S / end when it is done. The
    refusals are those of `pot_balance`, and `yield-no-end-point` for a recipe that is boiled for minutes.
    """
    balance = pot_balance(recipe, scale=scale, boiling_water_c=boiling_water_c)
    if isinstance(balance, Refusal):
        return balance
    if recipe.endpoint_f_above_boiling is None:
        return Refusal(NO_END, MASS_BALANCE)
    if not 0 < brix <= 100:
        raise ValueError("A pot reads above 0 and at most 100 degrees Brix.")
    end = end_point_brix(recipe.endpoint_f_above_boiling, boiling_water_c)
    soluble = sum(line.grams.best * line.brix.best for line in balance.lines) / 100
    off = hypot(*((line.grams.high * line.brix.high - line.grams.low * line.brix.low) / 200 for line in balance.lines))
    low, best, high = (
        water_to_boil_off_g(solids * 100 / brix, solids, at)
        for solids, at in ((max(soluble - off, 0), end.low), (soluble, end.best), (soluble + off, end.high))
    )
    minutes = (minutes_to_boil_off(low / 1000, burner), minutes_to_boil_off(high / 1000, burner))
    return BoilOn(end, Span(low, best, high), minutes)


def end_point_brix(f_above_boiling: Fraction, boiling_water_c: float = SEA_LEVEL_BOILING_C) -> Span:
    """The degrees Brix at so many degrees Fahrenheit above boiling water. Raises `OutsideTableError`."""
    brix = brix_at_rise(float(f_above_boiling) * 5 / 9, boiling_water_c)
    return Span(brix - BRIX_UNCERTAIN, brix, min(brix + BRIX_UNCERTAIN, HIGHEST_BRIX))


def _ends(recipe: TestedRecipe) -> bool:
    boiled = recipe.hard_boil is not None or recipe.endpoint_f_above_boiling is not None
    return boiled or recipe.method is Method.FREEZER


def _balance(recipe: TestedRecipe, lines: tuple[WeighedLine, ...], boiling_water_c: float) -> PotBalance:
    above_f = recipe.endpoint_f_above_boiling
    end = None if above_f is None else end_point_brix(above_f, boiling_water_c)
    off = HARD_BOIL_OFF if recipe.method is not Method.FREEZER else UNBOILED_OFF
    best = _best_case(recipe, lines, off, end)
    span = _spread(best, [*_cooked_otherwise(best, off, end), *_weighed_otherwise(best, recipe, lines)])
    cooked = _cook(best)
    at_filling, at_room = density_g_per_ml(cooked.brix, best.filling_c), density_g_per_ml(cooked.brix)
    volume, jar = span(lambda case: case.filling_ml), recipe.stated_yield.jar
    return PotBalance(
        recipe=recipe.slug,
        lines=lines,
        mass_in_g=span(lambda case: case.mass_in),
        brix_in=span(lambda case: case.brix_in),
        boiled_off_g=span(lambda case: case.off),
        left_behind_g=span(lambda case: case.left),
        product_g=span(lambda case: case.product),
        brix=span(lambda case: case.brix),
        filling_c=best.filling_c,
        density_filling_g_per_ml=at_filling,
        density_room_g_per_ml=at_room,
        volume_filling_ml=volume,
        volume_room_ml=volume.times(at_filling / at_room),
        jar=jar,
        jars=volume.times(1 / float(JAR_ML[jar])),
        estimates=tuple(f"{line.item}: {line.estimate}" for line in lines if line.estimate),
        assumptions=_assumptions(best, off, end),
    )


def _best_case(recipe: TestedRecipe, lines: Sequence[WeighedLine], off: Span, end: Span | None) -> _Case:
    return _Case(
        mass=sum(line.grams.best for line in lines),
        soluble=sum(line.grams.best * line.brix.best for line in lines) / 100,
        boiling=sum(line.grams.best for line in lines if _boils(recipe, line)),
        off_share=off.best,
        end_brix=None if end is None else end.best,
        left_share=LEFT_BEHIND.best,
        filling_c=FILLING_C if recipe.method is not Method.FREEZER else ROOM_C,
    )


def _boils(recipe: TestedRecipe, line: WeighedLine) -> bool:
    """What is stirred in off the heat loses nothing: liquid pectin then, and frozen concentrate with it."""
    boil = recipe.hard_boil
    off_the_heat = boil is not None and boil.pectin_added.startswith(("after", "off the heat"))
    return not (off_the_heat and (line.role is Role.PECTIN or line.is_concentrate))


def _cook(case: _Case) -> _Cooked:
    if case.end_brix is not None:
        off = water_to_boil_off_g(case.mass, case.soluble, case.end_brix)
    else:
        off = case.off_share * case.boiling
    cooked = case.mass - off
    left, brix = case.left_share * cooked, 100 * case.soluble / cooked
    product = cooked - left
    filling_ml = product / density_g_per_ml(brix, case.filling_c)
    return _Cooked(case.mass, 100 * case.soluble / case.mass, off, left, product, brix, filling_ml)


def _cooked_otherwise(best: _Case, off: Span, end: Span | None) -> list[tuple[_Case, _Case]]:
    """The pot with more or less left behind, and boiled longer or shorter."""
    kept = (best._replace(left_share=LEFT_BEHIND.low), best._replace(left_share=LEFT_BEHIND.high))
    if end is not None:
        return [kept, (best._replace(end_brix=end.low), best._replace(end_brix=end.high))]
    return [kept, (best._replace(off_share=off.low), best._replace(off_share=off.high))]


def _weighed_otherwise(best: _Case, recipe: TestedRecipe, lines: Sequence[WeighedLine]) -> list[tuple[_Case, _Case]]:
    """The pot with each line in turn lighter or heavier, and thinner or sweeter."""
    pairs = []
    for line in lines:
        boils, grams, brix = _boils(recipe, line), line.grams, line.brix
        lighter, heavier = (_heavier(best, more - grams.best, brix.best, boils) for more in (grams.low, grams.high))
        thinner, sweeter = (
            best._replace(soluble=best.soluble + grams.best * (more - brix.best) / 100)
            for more in (brix.low, brix.high)
        )
        pairs += [(lighter, heavier), (thinner, sweeter)]
    return pairs


def _heavier(case: _Case, grams: float, brix: float, boils: bool) -> _Case:
    boiling = case.boiling + grams if boils else case.boiling
    return case._replace(mass=case.mass + grams, soluble=case.soluble + grams * brix / 100, boiling=boiling)


def _spread(best: _Case, pairs: list[tuple[_Case, _Case]]) -> Callable[[Callable[[_Cooked], float]], Span]:
    """A function that gives any figure of the cooked pot its interval."""
    middle = _cook(best)
    cooked = [(_cook(low), _cook(high)) for low, high in pairs]

    def span(figure: Callable[[_Cooked], float]) -> Span:
        at = figure(middle)
        moves = [(figure(low) - at, figure(high) - at) for low, high in cooked]
        down = hypot(*(min(0.0, *move) for move in moves))
        up = hypot(*(max(0.0, *move) for move in moves))
        return Span(at - down, at, at + up)

    return span


def _assumptions(best: _Case, off: Span, end: Span | None) -> tuple[Text, ...]:
    """What this pot was reckoned with and no source prints."""
    boiled = Text("assumption.boil-off", {"low": off.low, "high": off.high})
    if end is not None:
        boiled = Text("assumption.end-point", {"low": end.low, "high": end.high})
    return (
        Text("assumption.filling", {"celsius": best.filling_c}),
        boiled,
        Text("assumption.left-behind", {"low": LEFT_BEHIND.low, "high": LEFT_BEHIND.high}),
        Text("assumption.headspace"),
    )
