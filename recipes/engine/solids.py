"""The mass balance of a pot: what goes in, what boils off, what is left, how dense it is, how many jars it fills.

What is not in the jars has boiled off or stayed behind (foam, pot, ladle). Solids do not boil off. Three kinds of
pot are reckoned: boiled hard for the minutes that the recipe prints (added pectin), boiled to an end point (degrees
above boiling water), and not boiled (freezer spreads). Any other kind is refused: its source prints no end point.

An interval is where 19 kitchens of 20 should land: every uncertain figure is moved to its two ends by itself and the
effects are added as independent errors are, by squares. `assumptions` lists what no source prints.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction
from math import floor, hypot
from typing import NamedTuple

from recipes.engine.foods import PUBLISHED, Foods, Span
from recipes.engine.sugar import (
    BRIX_UNCERTAIN,
    HIGHEST_BRIX,
    ROOM_C,
    SEA_LEVEL_BOILING_C,
    OutsideTableError,
    brix_at_rise,
    density_g_per_ml,
)
from recipes.engine.terms import Method, Refusal, Role, TestedRecipe
from recipes.engine.units import JAR_ML
from recipes.engine.weighing import NO_SOURCE, WeighedLine, weigh_line, yield_refusal

FILLING_C = 90.0  # hot spreads go into the jar at about this; common practice, no source
HARD_BOIL_OFF = Span(0.01, 0.03, 0.055)  # share of what boils, on the way to the boil and during its minute
UNBOILED_OFF = Span(0, 0.002, 0.01)  # only the pectin's own water is boiled
LEFT_BEHIND = Span(0.005, 0.02, 0.04)  # foam, pot, ladle and funnel
NO_END = "yield-no-end-point"
TOO_THICK = "yield-beyond-tables"

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
    assumptions: tuple[str, ...]

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
        return yield_refusal(NO_END, "The recipe prints no hard boil and no end point, so only its own yield is known.")
    weighed = weigh_lines(recipe, foods)
    if isinstance(weighed, Refusal):
        return weighed
    if scale <= 0 or not weighed:
        raise ValueError("A pot has at least one line and a scale above nothing.")
    lines = tuple(line._replace(grams=line.grams.times(float(scale))) for line in weighed)
    try:
        return _balance(recipe, lines, boiling_water_c)
    except OutsideTableError:
        return yield_refusal(TOO_THICK, "The pot would be thicker than the sugar tables go. Check its amounts.")


def weigh_lines(recipe: TestedRecipe, foods: Foods = PUBLISHED) -> tuple[WeighedLine, ...] | Refusal:
    """Every line of the recipe weighed, or the refusal of the first that cannot be."""
    strained = recipe.kind in STRAINED_KINDS
    lines = []
    for line in recipe.ingredients:
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
        thinner, sweeter = (_sweeter(best, grams.best * (more - brix.best) / 100) for more in (brix.low, brix.high))
        pairs += [(lighter, heavier), (thinner, sweeter)]
    return pairs


def _heavier(case: _Case, grams: float, brix: float, boils: bool) -> _Case:
    boiling = case.boiling + grams if boils else case.boiling
    return case._replace(mass=case.mass + grams, soluble=case.soluble + grams * brix / 100, boiling=boiling)


def _sweeter(case: _Case, soluble: float) -> _Case:
    return case._replace(soluble=case.soluble + soluble)


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


def _assumptions(best: _Case, off: Span, end: Span | None) -> tuple[str, ...]:
    """What this pot was reckoned with and no source prints."""
    boiled = f"{off.low:.1%} to {off.high:.1%} of what is heated boils off"
    if end is not None:
        boiled = f"it is done at {end.low:.0f} to {end.high:.0f} degrees Brix, as sugar tables give that temperature"
    told = (
        f"The jars are filled at {best.filling_c:.0f} C",
        boiled[0].upper() + boiled[1:],
        f"{LEFT_BEHIND.low:.1%} to {LEFT_BEHIND.high:.1%} stays behind as foam and in the pot",
        "A jar holds its named volume at the printed headspace",
    )
    return tuple(f"{sentence}: {NO_SOURCE}." for sentence in told)
