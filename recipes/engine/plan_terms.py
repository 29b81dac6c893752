"""What goes into a plan and what comes out of it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from recipes.engine.process import ProcessFound
from recipes.engine.quantities import Amount
from recipes.engine.scaling import Line
from recipes.engine.terms import (
    Altitude,
    Canner,
    Caution,
    Pack,
    Refusal,
    StatedYield,
    TestedRecipe,
    TestedSource,
)


@dataclass(frozen=True)
class PlanRequest:
    """A wish: one of pots, jars and fruit; the jar is the stated yield's when None."""

    altitude: Altitude | None = None
    pots: int | None = None
    jars: int | None = None
    fruit: Amount | None = None
    jar: str | None = None
    pack: Pack | None = None
    canner: Canner | None = None


@dataclass(frozen=True)
class JarCount:
    """So many full jars of one size."""

    size: str
    count: int


@dataclass(frozen=True)
class Plan:
    """One batch, planned. With refusals it is not fit to cook from, and `process` is None where they touch it.

    Temperatures are in degrees Celsius and None without a possible altitude. `sterilise_jars` is None while
    the process is not known.
    """

    recipe: TestedRecipe
    revision: int | None
    source: TestedSource
    altitude: Altitude | None
    boiling_point_c: float | None
    jelly_point_c: float | None
    pots: int | None
    pot_scale: Fraction  # of the printed amounts, for each pot
    lines: tuple[Line, ...]
    stated_yield: StatedYield
    predicted_volume_ml: Fraction | None  # from the low end of the stated yield
    jars: tuple[JarCount, ...]
    leftover_ml: Fraction | None
    process: ProcessFound | None
    sterilise_jars: bool | None
    sterilise_minutes: int | None
    cautions: tuple[Caution, ...]
    refusals: tuple[Refusal, ...]

    @property
    def ok(self) -> bool:
        """Whether nothing was refused."""
        return not self.refusals
