"""What goes into a plan and what comes out of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from recipes.engine.jars import JarMix
from recipes.engine.loads import Capacity, Process
from recipes.engine.mass_balance import Span
from recipes.engine.process import ProcessFound
from recipes.engine.quantities import JAR_SIZES, Amount
from recipes.engine.scaling import Line
from recipes.engine.schedule.terms import Timeline
from recipes.engine.terms import (
    Altitude,
    Canner,
    Caution,
    JarCount,
    Pack,
    Refusal,
    StatedYield,
    TestedRecipe,
    TestedSource,
)

MASS_BALANCE = "mass-balance"
STATED_YIELD = "stated-yield"

USUAL_STOVE = "electric"
UNTIMED = "There is no timeline: "  # begins the caution that says why


@dataclass(frozen=True)
class PlanRequest:
    """What is asked for: one of pots, jars and fruit; the jar is the stated yield's when None.

    `empties` are the jars at hand by size; None: as many as wanted of the one size. `burners`, `canners` and `cooks`
    are how many there are, `stove` a key of `physics.EFFICIENCY`; None: the usual gear.
    `watts` is the power of each burner, where it is known; there are then just so many, whatever `burners` says.
    `finish` is the minute of the day at which the last jar is out; None: the timeline has no clock.
    """

    altitude: Altitude | None = None
    pots: int | None = None
    jars: int | None = None
    fruit: Amount | None = None
    jar: str | None = None
    pack: Pack | None = None
    canner: Canner | None = None
    empties: Mapping[str, int] | None = None
    burners: int | None = None
    canners: int | None = None
    cooks: int | None = None
    stove: str = USUAL_STOVE
    capacity: Capacity | None = None
    finish: int | None = None
    watts: tuple[int, ...] | None = None


class Predicted(NamedTuple):
    """What all the pots give: by mass balance where it can be reckoned, else as the source states it.

    Volumes in ml as filled. `brix` in degrees and `jars_a_pot` in jars of the stated yield's size are only known by
    mass balance; `why_not` says why there is none.
    """

    basis: str  # MASS_BALANCE or STATED_YIELD
    low_ml: Fraction
    best_ml: Fraction
    high_ml: Fraction
    brix: Span | None = None
    jars_a_pot: Span | None = None
    estimates: tuple[str, ...] = ()
    assumptions: tuple[str, ...] = ()
    why_not: str = ""


class PlanLoad(NamedTuple):
    """Jars of one pot that are processed together; `filled` is the part of the canner that they take.

    `canner` counts from 1, and is None where there is no timeline to say which.
    """

    number: int
    pot: int
    canner: int | None
    jars: tuple[JarCount, ...]
    process: Process
    filled: Fraction


@dataclass(frozen=True)
class Plan:
    """One batch, planned. With refusals it is not fit to cook from, and `process` is None where they touch it.

    Temperatures are in degrees Celsius and None without a possible altitude. `sterilise_jars` is None while
    the process is not known. `mixes` has one jar mix a pot; `loads` and `day` are empty where anything is refused.
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
    predicted: Predicted | None
    filled_ml: Fraction | None  # what jars are planned from: by the source, and by mass balance where it says nothing
    filled_basis: str
    mixes: tuple[JarMix, ...]
    process: ProcessFound | None  # of the largest jar in the mix
    sterilise_jars: bool | None
    sterilise_minutes: int | None
    cautions: tuple[Caution, ...]
    refusals: tuple[Refusal, ...]
    loads: tuple[PlanLoad, ...] = ()
    day: Timeline | None = None  # from minute 0
    finish: int | None = None

    @property
    def ok(self) -> bool:
        """Whether nothing was refused."""
        return not self.refusals

    @property
    def predicted_volume_ml(self) -> Fraction | None:
        """What all the pots give, best estimate."""
        return self.predicted.best_ml if self.predicted else None

    @property
    def jars(self) -> tuple[JarCount, ...]:
        """Full jars over all pots, largest first."""
        return counted(self.mixes)

    @property
    def leftover_ml(self) -> Fraction | None:
        """What stays over in all, never processed; None where no jars could be planned."""
        return sum((mix.leftover_ml for mix in self.mixes), Fraction(0)) if self.mixes else None

    @property
    def begins(self) -> int | None:
        """The minute of the finishing day at which work begins; below 0 on the day before."""
        return None if self.day is None or self.finish is None else self.finish - self.day.minutes


def counted(mixes: tuple[JarMix, ...]) -> tuple[JarCount, ...]:
    """The full jars of all pots by size, largest first."""
    counts: dict[str, int] = {}
    for mix in mixes:
        for jar in mix.jars:
            counts[jar.size] = counts.get(jar.size, 0) + jar.count
    return tuple(JarCount(size, counts[size]) for size in reversed(JAR_SIZES) if size in counts)
