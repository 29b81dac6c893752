"""What goes into a day's timeline and what comes out of it. Minutes are offsets: no clock, no time zone."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from recipes.engine.loads import SEVEN_QUART, Capacity, Load
from recipes.engine.physics import Burner
from recipes.engine.terms import Canner, JarCount, Pack


class StepKind(StrEnum):
    """One kind of work. The value is what the step is called."""

    WASH = "wash jars"
    HEAT = "heat water"
    STERILISE = "sterilise jars"
    COOK = "cook"
    STIR = "stir and skim"
    FILL = "fill jars"
    KEEP_HOT = "canner ready"
    POT_WAITS = "keep pot hot"
    COME_BACK = "come to the boil"
    STEAM = "heat to steam"
    VENT = "vent"
    COME_UP = "come to pressure"
    PROCESS = "process"
    REST = "rest, heat off"
    DEPRESSURISE = "lose pressure, heat off"
    OUT = "lift jars out"


@dataclass(frozen=True)
class PotWork:
    """One pot, cooked by itself and filled into its own jars.

    `kg` is what is heated (0: nothing is cooked), `boil_minutes` the hard boil or simmer after it boils,
    `boil_off_kg` the water to boil away, `above_boiling_c` how far above boiling water it ends. A spread must
    be filled at once; `may_wait` is for food that can be kept hot while a canner is busy.
    """

    name: str
    jars: tuple[JarCount, ...]
    kg: float
    boil_minutes: int = 0
    boil_off_kg: float = 0.0
    above_boiling_c: float = 0.0
    pack: Pack = Pack.HOT
    stir: bool = False
    may_wait: bool = False


@dataclass(frozen=True)
class Gear:
    """What there is to work with. All canners are of one kind and size."""

    burners: tuple[Burner, ...]
    canners: int = 1
    kind: Canner = Canner.BOILING_WATER
    capacity: Capacity = SEVEN_QUART
    cooks: int = 1


class Step(NamedTuple):
    """One piece of work from minute `start` to minute `end`. Numbers count from 1; None: none is needed."""

    kind: StepKind
    start: int
    end: int
    pot: int
    load: int | None = None
    burner: int | None = None
    canner: int | None = None
    cook: int | None = None

    @property
    def minutes(self) -> int:
        return self.end - self.start


class PotLoad(NamedTuple):
    """A canner load of the day: whose jars, and when it goes in and comes out."""

    number: int
    pot: int
    canner: int
    load: Load


class Timeline(NamedTuple):
    """The day: steps in order of their start, the canner loads, and the first and the last minute."""

    steps: tuple[Step, ...]
    loads: tuple[PotLoad, ...]
    start: int
    finish: int

    @property
    def minutes(self) -> int:
        return self.finish - self.start
