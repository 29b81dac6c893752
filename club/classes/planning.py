"""From a session and its stations to the engine's plan for the hall: one way for the page, the wall and publishing."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache

from club.classes.models import ClassSession, Station
from recipes.engine import NO_SOURCE, Capacity, Plan, capacity
from recipes.engine.stations import HallPlan, finish_by, hall_plan
from recipes.engine.stations import Station as PlannedStation
from recipes.engine.terms import Altitude, Canner, Pack
from recipes.services import PlanInput, StationInput, plan_for

HOUR = 60
KEPT_PLANS = 128


@dataclass(frozen=True)
class SessionPlan:
    """The stations as they are stored and the engine's plan for all of them, in the same order."""

    session: ClassSession
    stations: tuple[Station, ...]
    hall: HallPlan

    @property
    def plans(self) -> tuple[Plan, ...]:
        return tuple(each.plan for each in self.hall.stations)

    @property
    def cookable(self) -> tuple[Plan, ...]:
        """Those that are not refused: only for these is anything kept or bought."""
        return tuple(plan for plan in self.plans if plan.ok)


def plan_of(session: ClassSession) -> SessionPlan:
    """One query, however many stations; another for the hall where it is not loaded yet. Stations that are alike
    are planned once."""
    stations = tuple(session.stations.select_related("revision__recipe").order_by("number"))
    opens, closes = session_minutes(session)
    hall = session.hall
    planned = [
        PlannedStation(
            number=station.number,
            plan=station_plan(station, altitude=hall.altitude, closes=closes),
            watts=tuple(station.burners_w),
            stove=station.stove,
            seats=station.seats,
            cooks=station.cooks,
        )
        for station in stations
    ]
    made = hall_plan(planned, opens=opens, closes=closes, power_limit_w=hall.power_limit_w)
    return SessionPlan(session, stations, made)


def session_minutes(session: ClassSession) -> tuple[int, int]:
    """The first and the last minute of the session, on the wall clock's day, counted back from its end.

    Over a clock change the hours on the wall are not the hours there are: what counts is the time that passes.
    """
    closes = session.ends.hour * HOUR + session.ends.minute
    passes = session.ends_at - session.starts_at
    return closes - int(passes.total_seconds()) // 60, closes


def station_plan(station: Station, *, altitude: Altitude | None, closes: int) -> Plan:
    """The engine's plan for one station, its last jar out in time to clean up.

    Kept in memory: a timeline of many unlike burners takes a second, and a page asks for the same plan again and again.
    """
    revision = station.revision
    revision_key = (revision.pk, revision.digest, revision.number, revision.state, revision.withdrawn_reason)
    return _kept_plan(_StationRequest(altitude, closes, (revision_key, _same_plan(station)), station))


@dataclass(frozen=True)
class _StationRequest:
    """A question to the engine. `key` is all of the station that the answer hangs on."""

    altitude: Altitude | None
    closes: int
    key: tuple[object, ...]
    station: Station = field(compare=False)


@lru_cache(maxsize=KEPT_PLANS)
def _kept_plan(request: _StationRequest) -> Plan:
    wanted = station_input(request.station, closes=request.closes)
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
