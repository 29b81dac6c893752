"""What goes into a session of several stations and what comes out of it, and the rules of a class.

Minutes are of the wall clock's day, so that stations share one clock; no time zone is known here.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from recipes.engine.heat import Figure
from recipes.engine.plan_terms import Plan
from recipes.engine.rules import NO_SOURCE
from recipes.engine.terms import Caution, Ingredient, JarCount, Refusal, Rule
from recipes.engine.timeline import Timeline

CLEAN_UP = Figure(20, NO_SOURCE)  # minutes between the last jar out and the end of a session
ELECTRIC = frozenset({"electric", "induction"})  # the stoves that draw on the hall's wiring

_ALL = (
    Rule(
        "CLASS-CLEAN-UP",
        f"The last jar is out {CLEAN_UP.value:.0f} minutes before a session ends, for washing up and for questions.",
        CLEAN_UP.source,
    ),
    Rule("CLASS-IN-TIME", "Nothing is lit before a session begins; what takes longer is not taught in it.", NO_SOURCE),
    Rule(
        "CLASS-POWER",
        "All electric burners of a hall together draw no more than its wiring carries, as if all were on at once.",
        NO_SOURCE,
    ),
    Rule("CLASS-STATION", "A class cooks at stations; each is planned by itself.", "a rule of this club"),
    Rule("CLASS-HANDS", "A station's plan counts on no more cooks than it has seats.", NO_SOURCE),
)
STATION_RULES: dict[str, Rule] = {rule.name: rule for rule in _ALL}


class Station(NamedTuple):
    """A station as planned. `plan` ends at minute `finish_by(closes)`; `watts` is the power of each burner."""

    number: int
    plan: Plan
    watts: tuple[int, ...]
    stove: str
    seats: int
    cooks: int

    @property
    def electric_w(self) -> int:
        """What it can draw on the hall's wiring, all its burners at once."""
        return sum(self.watts) if self.stove in ELECTRIC else 0


class StationDay(NamedTuple):
    """A station's timeline on the hall's clock."""

    number: int
    timeline: Timeline


class HallRefusal(NamedTuple):
    """A refusal and the stations that it is about; none: the whole session."""

    stations: tuple[int, ...]
    refusal: Refusal


class HallCaution(NamedTuple):
    """A caution and the stations that it is about."""

    stations: tuple[int, ...]
    caution: Caution


class TotalLine(NamedTuple):
    """One ingredient over all stations that take it: `amount` is measurable, in the ingredient's unit."""

    ingredient: Ingredient
    amount: Fraction
    amount_high: Fraction | None
    text: str
    grams: Fraction | None  # None where one station's weight is not known
    stations: tuple[int, ...]


class Power(NamedTuple):
    """Electric power in watts: of all burners, the most that the plans use at once, and what the hall carries."""

    burners_w: int
    used_at_once_w: int
    limit_w: int | None  # None: nobody has said


@dataclass(frozen=True)
class HallPlan:
    """One session. With a refusal it is not to be taught as planned. Minutes are of the day's wall clock."""

    stations: tuple[Station, ...]
    opens: int
    closes: int
    days: tuple[StationDay, ...]  # of the stations that could be timed
    lines: tuple[TotalLine, ...]
    jars: tuple[JarCount, ...]  # full jars over all stations, largest first
    packets: tuple[tuple[str, int], ...]  # whole packets of pectin by unit
    loads: int
    power: Power
    refusals: tuple[HallRefusal, ...]
    cautions: tuple[HallCaution, ...]

    @property
    def ok(self) -> bool:
        return not self.refusals

    @property
    def lids(self) -> int:
        """A new lid for every full jar."""
        return sum(jar.count for jar in self.jars)

    @property
    def begins(self) -> int | None:
        """The minute at which the first station begins; None where none could be timed."""
        return min((day.timeline.start for day in self.days), default=None)


def finish_by(closes: int) -> int:
    """The minute by which the last jar of a session is out (CLASS-CLEAN-UP)."""
    return closes - int(CLEAN_UP.value)


def station_refusal(code: str, rule: str, message: str) -> Refusal:
    """A refusal that cites one of these rules and its source."""
    return Refusal(code, message, rule, STATION_RULES[rule].source)
