"""What the pots of a plan give, and what its jars are filled from.

Jars are planned from the low end of the yield that the tested source states; only where that was not seen in print
from the low end of the mass balance. The balance stands beside it, so that a cook sees how far the two agree.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from recipes.engine.plan_terms import MASS_BALANCE, STATED_YIELD, Predicted
from recipes.engine.rules import caution
from recipes.engine.scaling import Pots
from recipes.engine.solids import NO_END, PotBalance, pot_balance
from recipes.engine.sugar import SEA_LEVEL_BOILING_C
from recipes.engine.terms import Caution, Refusal, TestedRecipe
from recipes.engine.units import JAR_ML
from recipes.engine.wording import format_number


class Yield(NamedTuple):
    """The balance of one pot, what all pots give, and what one pot fills; None where nothing is known."""

    balance: PotBalance | Refusal
    predicted: Predicted | None
    pot_ml: Fraction | None
    basis: str


def yield_of(recipe: TestedRecipe, pots: Pots, boiling_c: float | None) -> Yield:
    """The yield of these pots where water boils at `boiling_c` (sea level when None)."""
    balance = pot_balance(recipe, scale=pots.scale, boiling_water_c=boiling_c or SEA_LEVEL_BOILING_C)
    predicted = _by_source(recipe, pots, balance) if isinstance(balance, Refusal) else _by_balance(balance, pots)
    stated = recipe.stated_yield
    if stated.seen.is_seen:
        return Yield(balance, predicted, stated.low * JAR_ML[stated.jar] * pots.scale, STATED_YIELD)
    if predicted is None:
        return Yield(balance, None, None, "")
    return Yield(balance, predicted, predicted.low_ml / pots.count, MASS_BALANCE)


def yield_cautions(recipe: TestedRecipe, pots: Pots, found: Yield) -> Iterator[Caution]:
    """Where source and mass balance disagree by more than whole jars, or a pot could not be weighed."""
    stated, balance = recipe.stated_yield, found.balance
    if isinstance(balance, Refusal):
        if balance.code != NO_END:
            yield Caution(balance.code, balance.message, balance.rule, balance.source)
        return
    low, high = balance.whole_jars
    if stated.seen.is_seen and not (stated.low * pots.scale <= high and low <= stated.high * pots.scale):
        said = format_number(stated.low * pots.scale)
        weighed = str(low) if low == high else f"{low} to {high}"
        yield caution(
            "yield-differs",
            "YIELD-STATED",
            f"By weight one pot fills about {weighed} {stated.jar} jars; its source states {said}. Have jars for both.",
        )


def _by_balance(balance: PotBalance, pots: Pots) -> Predicted:
    volume = balance.volume_filling_ml
    return Predicted(
        basis=MASS_BALANCE,
        low_ml=_tenths(volume.low) * pots.count,
        best_ml=_tenths(volume.best) * pots.count,
        high_ml=_tenths(volume.high) * pots.count,
        brix=balance.brix,
        jars_a_pot=balance.jars,
        estimates=balance.estimates,
        assumptions=balance.assumptions,
    )


def _by_source(recipe: TestedRecipe, pots: Pots, why: Refusal) -> Predicted | None:
    stated = recipe.stated_yield
    if not stated.seen.is_seen:
        return None
    low, high = (jars * JAR_ML[stated.jar] * pots.total for jars in (stated.low, stated.high))
    return Predicted(STATED_YIELD, low_ml=low, best_ml=low, high_ml=high, why_not=why.message)


def _tenths(millilitres: float) -> Fraction:
    """A reckoned figure to a tenth of a millilitre: as fine as anybody needs it, and exact from here on."""
    return Fraction(round(millilitres * 10), 10)
