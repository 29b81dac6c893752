"""Several stations side by side in one hall: whether each can be done in the time, the power they draw together,
and what all of them take.

Each station is a plan of its own, made for its own stove and canner; nothing here makes a process time or moves one.
Minutes are of the wall clock's day, so that stations share one clock; no time zone is known here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple, TypeVar

from recipes.engine.physics import Figure
from recipes.engine.plan import Plan, Untimed
from recipes.engine.quantities import JAR_SIZES, PACKETS, measure_text
from recipes.engine.rules import NO_SOURCE
from recipes.engine.scaling import Line
from recipes.engine.schedule import LONG_COLD, Step, Timeline
from recipes.engine.terms import Caution, Ingredient, JarCount, Refusal, Role

CLEAN_UP = Figure(20, NO_SOURCE)  # minutes between the last jar out and the end of a session
ELECTRIC = frozenset({"electric", "induction"})  # the stoves that draw on the hall's wiring

Reason = TypeVar("Reason", Caution, Refusal)


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


def hall_plan(stations: Sequence[Station], *, opens: int, closes: int, power_limit_w: int | None) -> HallPlan:
    """All stations together. A plan that has no timeline is refused here: unknown is not in time."""
    days = tuple(StationDay(each.number, day) for each in stations if (day := on_the_clock(each.plan)) is not None)
    power = Power(sum(each.electric_w for each in stations), _most_at_once(stations, days), power_limit_w)
    refusals = [(each.number, reason) for each in stations for reason in _station_refusals(each, opens)]
    cautions = [(each.number, reason) for each in stations for reason in _station_cautions(each, opens)]
    return HallPlan(
        stations=tuple(stations),
        opens=opens,
        closes=closes,
        days=days,
        lines=total_lines(stations),
        jars=_jars(stations),
        packets=_packets(stations),
        loads=sum(len(each.plan.loads) for each in stations),
        power=power,
        refusals=(*_hall_refusals(stations, power), *(HallRefusal(*found) for found in _grouped(refusals))),
        cautions=tuple(HallCaution(*found) for found in _grouped(cautions)),
    )


def on_the_clock(plan: Plan) -> Timeline | None:
    """The plan's timeline in minutes of the finishing day; None where there is none, or no finish."""
    if plan.day is None or plan.begins is None:
        return None
    shift = plan.begins - plan.day.start
    steps = tuple(step._replace(start=step.start + shift, end=step.end + shift) for step in plan.day.steps)
    return Timeline(steps, plan.day.loads, plan.begins, plan.begins + plan.day.minutes)


def total_lines(stations: Sequence[Station]) -> tuple[TotalLine, ...]:
    """The same ingredient in the same unit counted together, in the order in which it is first named."""
    found: dict[tuple[str, str, Role, str], list[tuple[int, Line]]] = {}
    for each in stations:
        for line in each.plan.lines:
            printed = line.ingredient
            key = (printed.item.lower(), printed.prep.lower(), printed.role, printed.unit)
            found.setdefault(key, []).append((each.number, line))
    return tuple(_total(numbered) for numbered in found.values())


def _total(numbered: Sequence[tuple[int, Line]]) -> TotalLine:
    lines = [line for _, line in numbered]
    printed = lines[0].ingredient
    amount = sum((line.amount for line in lines), Fraction(0))
    high = sum((line.amount_high or line.amount for line in lines), Fraction(0))
    text = measure_text(amount, printed.unit)
    return TotalLine(
        ingredient=printed,
        amount=amount,
        amount_high=high if high > amount else None,
        text=f"{text} to {measure_text(high, printed.unit)}" if high > amount else text,
        grams=_sum(line.grams for line in lines),
        stations=tuple(dict.fromkeys(number for number, _ in numbered)),
    )


def _sum(weights: Iterable[Fraction | None]) -> Fraction | None:
    known = list(weights)
    return None if None in known else sum((weight for weight in known if weight is not None), Fraction(0))


def _jars(stations: Sequence[Station]) -> tuple[JarCount, ...]:
    counts: dict[str, int] = {}
    for jar in (jar for each in stations for jar in each.plan.jars):
        counts[jar.size] = counts.get(jar.size, 0) + jar.count
    return tuple(JarCount(size, counts[size]) for size in reversed(JAR_SIZES) if size in counts)


def _packets(stations: Sequence[Station]) -> tuple[tuple[str, int], ...]:
    """A pot's packets are whole already (PECTIN-WHOLE), so their sum is."""
    counts: dict[str, Fraction] = {}
    for line in (line for each in stations for line in each.plan.lines):
        if line.ingredient.role is Role.PECTIN and line.ingredient.unit in PACKETS:
            unit = line.ingredient.unit
            counts[unit] = counts.get(unit, Fraction(0)) + line.amount
    return tuple((unit, int(count)) for unit, count in sorted(counts.items()))


def _most_at_once(stations: Sequence[Station], days: Sequence[StationDay]) -> int:
    """Watts of the electric burners that the timelines have in use in the same minute, at the highest."""
    watts = {each.number: each.watts for each in stations if each.stove in ELECTRIC}
    changes: list[tuple[int, int]] = []
    for day in days:
        for burner, start, end in _burner_spans(day.timeline.steps):
            power = watts.get(day.number, ())
            if burner <= len(power):
                changes += [(start, power[burner - 1]), (end, -power[burner - 1])]
    now = most = 0
    for _, change in sorted(changes):  # what goes off in a minute is off before anything comes on
        now += change
        most = max(most, now)
    return most


def _burner_spans(steps: Sequence[Step]) -> Iterator[tuple[int, int, int]]:
    """Each burner from its first use to its last: a canner stays on its ring (BURNER-EACH), a pot may wait."""
    used: dict[int, list[Step]] = {}
    for step in steps:
        if step.burner is not None:
            used.setdefault(step.burner, []).append(step)
    for burner, its in used.items():
        yield burner, min(step.start for step in its), max(step.end for step in its)


def _station_refusals(station: Station, opens: int) -> Iterator[Refusal]:
    plan = station.plan
    yield from plan.refusals
    if plan.refusals:
        return
    if plan.day is None or plan.begins is None:
        # As planning the day has said it.
        untimed = [each.as_refusal() for each in plan.cautions if isinstance(each, Untimed)]
        yield untimed[0] if untimed else Refusal("not-timed", "CLASS-IN-TIME")
    elif plan.begins < opens:
        yield Refusal(
            "not-enough-time.session", "CLASS-IN-TIME", {"minutes": plan.day.minutes, "over": opens - plan.begins}
        )


def _station_cautions(station: Station, opens: int) -> Iterator[Caution]:
    """Who is to do it first; what cannot be timed is a refusal here."""
    if station.cooks > station.seats == 1:
        yield Caution("more-cooks-than-seats.one", "CLASS-HANDS", {"cooks": station.cooks})
    elif station.cooks > station.seats:
        yield Caution("more-cooks-than-seats", "CLASS-HANDS", {"cooks": station.cooks, "seats": station.seats})
    yield from (each for each in station.plan.cautions if not isinstance(each, Untimed))
    day = on_the_clock(station.plan)
    if day is not None and day.first_lit is not None and day.start > opens:
        cold = day.first_lit - opens
        if cold >= LONG_COLD.value:
            yield Caution("session-cold-stove", "HANDS-FIRST", {"minutes": cold, "spare": day.start - opens})


def _hall_refusals(stations: Sequence[Station], power: Power) -> Iterator[HallRefusal]:
    if not stations:
        yield HallRefusal((), Refusal("no-station", "CLASS-STATION"))
    if power.limit_w is not None and power.burners_w > power.limit_w:
        electric = tuple(each.number for each in stations if each.electric_w)
        over = power.burners_w - power.limit_w
        too_much = Refusal(
            "hall-power", "CLASS-POWER", {"watts": power.burners_w, "over": over, "limit": power.limit_w}
        )
        yield HallRefusal(electric, too_much)


def _grouped(reasons: Sequence[tuple[int, Reason]]) -> Iterator[tuple[tuple[int, ...], Reason]]:
    """What is said of several stations is said once."""
    said: list[Reason] = []
    for _, reason in reasons:
        if reason not in said:
            said.append(reason)
    for reason in said:
        yield tuple(dict.fromkeys(number for number, each in reasons if each == reason)), reason
