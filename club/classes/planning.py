"""From a session and its stations to the engine's plan for the hall: one way for the page, the wall and publishing.

Which canner each station has follows from the plan and from what is held; its dial gauge's last test corrects what the
plan has the gauge show.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache

from django.core.exceptions import ValidationError

from club.classes.models import ClassSession, Station
from inventory.equipment.choices import PRESSURE_KINDS, HoldState, Kind
from inventory.equipment.models import Thing
from inventory.equipment.services import gauge_check
from recipes.engine import NO_SOURCE, Capacity, Plan, capacity
from recipes.engine.stations import HallPlan, finish_by, hall_plan
from recipes.engine.stations import Station as PlannedStation
from recipes.engine.terms import Altitude, Canner, Pack, Rule
from recipes.services import PlanInput, StationInput, plan_for

HOUR = 60
KEPT_PLANS = 128
KEPT = (HoldState.HELD, HoldState.OUT)  # a hold in these states keeps its thing for the session


@dataclass(frozen=True)
class SessionPlan:
    """The stations as they are stored and the engine's plan for all of them, in the same order.

    `canners` are the pressure canners that each station has, by its number; those of which the gauge reads highest
    first.
    """

    session: ClassSession
    stations: tuple[Station, ...]
    hall: HallPlan
    canners: Mapping[int, tuple[PressureCanner, ...]]

    @property
    def plans(self) -> tuple[Plan, ...]:
        return tuple(each.plan for each in self.hall.stations)

    @property
    def cookable(self) -> tuple[Plan, ...]:
        """Those that are not refused: only for these is anything kept or bought."""
        return tuple(plan for plan in self.plans if plan.ok)


@dataclass(frozen=True)
class PressureCanner:
    """A canner that is held for the session. `reads_high` (psi) is its dial gauge's at the last test that is good on
    the day; None without one, or for a weighted gauge."""

    thing: Thing
    reads_high: Fraction | None

    @property
    def is_dial(self) -> bool:
        return self.thing.kind == Kind.DIAL_GAUGE


def plan_of(session: ClassSession) -> SessionPlan:
    """One query, however many stations; another for the hall where it is not loaded yet, and where something is
    processed under pressure those for the canners that are held and for each dial gauge's test. Stations that are
    alike are planned once."""
    stations = tuple(session.stations.select_related("revision__recipe").order_by("number"))
    opens, closes = session_minutes(session)
    hall = session.hall

    def planned(reads_high: Mapping[int, Fraction]) -> list[PlannedStation]:
        return [
            PlannedStation(
                number=station.number,
                plan=station_plan(
                    station, altitude=hall.altitude, closes=closes, reads_high=reads_high.get(station.number)
                ),
                watts=tuple(station.burners_w),
                stove=station.stove,
                seats=station.seats,
                cooks=station.cooks,
            )
            for station in stations
        ]

    first = planned({})
    canners = _canners_at(session, first)
    errors = {number: held[0].reads_high for number, held in canners.items()}
    known = {number: error for number, error in errors.items() if error is not None}
    made = hall_plan(planned(known) if known else first, opens=opens, closes=closes, power_limit_w=hall.power_limit_w)
    return SessionPlan(session, stations, made, canners)


def _canners_at(session: ClassSession, planned: Sequence[PlannedStation]) -> dict[int, tuple[PressureCanner, ...]]:
    """Which of the held pressure canners each station has: as many as can be met, those with the most to load first."""
    required = [piece for station in planned for piece in _canners(station) if piece.kind in PRESSURE_KINDS]
    if not required:
        return {}
    kept = session.gear.filter(hold__state__in=KEPT, hold__starts__lte=session.day, hold__ends__gte=session.day)
    held = [gear.hold.thing for gear in kept.select_related("hold__thing").order_by("hold__thing__code")]
    found: dict[int, list[PressureCanner]] = {}
    for kind in PRESSURE_KINDS:
        wanted = sorted((one for one in required if one.kind == kind), key=lambda one: (-one.room, one.station))
        things = [thing for thing in held if thing.kind == kind]
        for place, which in matched(wanted, [thing.at_once for thing in things]).items():
            canner = PressureCanner(things[which], _reads_high(things[which], session))
            found.setdefault(wanted[place].station, []).append(canner)
    return {
        station: tuple(sorted(canners, key=lambda one: (-(one.reads_high or 0), one.thing.code)))
        for station, canners in found.items()
    }


def _reads_high(thing: Thing, session: ClassSession) -> Fraction | None:
    try:
        test = gauge_check(thing, session.day)
    except ValidationError:
        return None  # publishing and the counter say why: without a good test it does not go out
    return None if test is None else Fraction(test.reads_high)


def session_minutes(session: ClassSession) -> tuple[int, int]:
    """The first and the last minute of the session, on the wall clock's day, counted back from its end.

    Over a clock change the hours on the wall are not the hours there are: what counts is the time that passes.
    """
    closes = session.ends.hour * HOUR + session.ends.minute
    passes = session.ends_at - session.starts_at
    return closes - int(passes.total_seconds()) // 60, closes


def station_plan(
    station: Station, *, altitude: Altitude | None, closes: int, reads_high: Fraction | None = None
) -> Plan:
    """The engine's plan for one station, its last jar out in time to clean up.

    Kept in memory: a timeline of many unlike burners takes a second, and a page asks for the same plan again and again.
    """
    revision = station.revision
    revision_key = (revision.pk, revision.digest, revision.number, revision.state, revision.withdrawn_reason)
    return _kept_plan(_StationRequest(altitude, closes, reads_high, (revision_key, _same_plan(station)), station))


@dataclass(frozen=True)
class _StationRequest:
    """A question to the engine. `key` is all of the station that the answer hangs on."""

    altitude: Altitude | None
    closes: int
    reads_high: Fraction | None
    key: tuple[object, ...]
    station: Station = field(compare=False)


@lru_cache(maxsize=KEPT_PLANS)
def _kept_plan(request: _StationRequest) -> Plan:
    wanted = station_input(request.station, closes=request.closes)
    wanted["reads_high"] = request.reads_high
    return plan_for(revision=request.station.revision, altitude=request.altitude, **wanted)


def station_input(station: Station, *, closes: int) -> StationInput:
    """What a station asks of the engine: its batch, with the power of its burners and the hour it ends at."""
    return StationInput(**batch_input(station), watts=tuple(station.burners_w), finish=finish_by(closes))


def batch_input(station: Station) -> PlanInput:
    """What the batch of a station is planned from, whatever the hour."""
    return PlanInput(
        pots=station.pots,
        jar=station.jar_size or None,
        pack=Pack(station.pack) if station.pack else None,
        canner=Canner(station.canner) if station.canner else None,
        canners=station.canners,
        capacity=station_capacity(station),
        burners=len(station.burners_w),
        stove=station.stove,
        cooks=station.cooks,
    )


def station_capacity(station: Station) -> Capacity | None:
    """What goes into its canner at once; None where nobody said, and the engine takes the usual one."""
    if not station.capacity:
        return None
    counts = {size.replace("-", "_"): count for size, count in station.capacity.items()}
    return capacity(f"station {station.number}", NO_SOURCE, **counts)


def _same_plan(station: Station) -> object:
    """Stations with the same key have the same plan."""
    return (
        station.revision_id,
        station.pots,
        station.jar_size,
        station.pack,
        station.canner,
        station.canners,
        tuple(sorted(station.capacity.items())),
        tuple(station.burners_w),
        station.stove,
        station.cooks,
    )


# Which things of the equipment room a session needs, from its plan. Pure: the engine's plan in, plain values out.

GEAR_RULE = Rule(
    "CLASS-GEAR",
    "A station takes a canner for each that its plan uses, a jar lifter and a funnel, a pan for each burner under a "
    "pot, and a thermometer where the recipe ends at a temperature.",
    NO_SOURCE,
)
CANNER_KINDS: Mapping[Canner, Kind] = {
    Canner.BOILING_WATER: Kind.BOILING_WATER,
    Canner.DIAL_GAUGE: Kind.DIAL_GAUGE,
    Canner.WEIGHTED_GAUGE: Kind.WEIGHTED_GAUGE,
    Canner.STEAM: Kind.STEAM,
}


@dataclass(frozen=True)
class GearRequirement:
    """One thing of a kind, for a station. `jars` is the most that go into it at once by size; empty for no canner."""

    kind: Kind
    station: int
    jars: Mapping[str, int] = field(default_factory=dict)

    @property
    def room(self) -> int:
        return sum(self.jars.values())

    def is_met_by(self, capacity: Mapping[str, int]) -> bool:
        """Whether a thing of this capacity takes the loads; one that does not say how many jars it takes does not."""
        return all(capacity.get(size, 0) >= count for size, count in self.jars.items())


def gear_required(hall: HallPlan) -> tuple[GearRequirement, ...]:
    """One entry for each thing; of a kind those that need the most room first, so that they choose first."""
    found = [piece for station in hall.stations for piece in _of_station(station)]
    order = {kind: number for number, kind in enumerate(Kind)}
    return tuple(sorted(found, key=lambda piece: (order[piece.kind], -piece.room, piece.station)))


def matched(required: Sequence[GearRequirement], capacities: Sequence[Mapping[str, int]]) -> dict[int, int]:
    """Which piece gets which thing of its kind, by their places in the two rows: as many as can be met at all.

    A canner that takes pints only must not be left over because the one that takes every jar went to the pints. Needs
    choose in their order; one that finds nothing makes another move over where that other finds something else.
    """
    has: dict[int, int] = {}  # the piece that has each thing

    def seat(piece: int, asked: set[int]) -> bool:
        for thing, room in enumerate(capacities):
            if thing in asked or not required[piece].is_met_by(room):
                continue
            asked.add(thing)
            if thing not in has or seat(has[thing], asked):
                has[thing] = piece
                return True
        return False

    for piece in range(len(required)):
        seat(piece, set())
    return {piece: thing for thing, piece in has.items()}


def _of_station(station: PlannedStation) -> Iterator[GearRequirement]:
    plan = station.plan
    if not plan.ok or not plan.jars:
        return
    if not plan.recipe.method.is_cold:
        yield from _canners(station)
        yield GearRequirement(Kind.JAR_LIFTER, station.number)
    yield GearRequirement(Kind.FUNNEL, station.number)
    pans = {step.burner for step in plan.day.steps if step.burner and step.canner is None} if plan.day else set()
    for _pan in pans:
        yield GearRequirement(Kind.PRESERVING_PAN, station.number)
    if plan.recipe.endpoint_f_above_boiling is not None:
        yield GearRequirement(Kind.THERMOMETER, station.number)


def _canners(station: PlannedStation) -> Iterator[GearRequirement]:
    """As many as the loads are shared over, each for the largest load that goes into it."""
    plan = station.plan
    kind = _kind(station)
    if kind is None:
        return
    most: dict[int, dict[str, int]] = {}
    for load in plan.loads:
        held = most.setdefault(load.canner or 1, {})
        for jar in load.jars:
            held[jar.size] = max(held.get(jar.size, 0), jar.count)
    for jars in most.values():
        yield GearRequirement(kind, station.number, jars)


def _kind(station: PlannedStation) -> Kind | None:
    """By the process that was found; None where there is none, and so no plan to keep a canner for."""
    process = station.plan.process
    return None if process is None else CANNER_KINDS[process.canner]
