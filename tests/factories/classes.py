"""Class sessions, stations and sign-ups for tests, with the clock where a test wants it.

The invented spread of the recipe factory in half-pints: one pot a station, 10 minutes at 1,040 m.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

from django.conf import settings

from club.classes.choices import SEAT_STATES, SessionState, SignUpState
from club.classes.models import ClassSession, SignUp, Station
from club.members.choices import Role
from club.members.models import Kitchen, User
from recipes.models import Revision
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import make_revision

# A Monday, noon in the club's zone; the Saturday after it is the day of a session unless told otherwise.
NOW = datetime(2026, 9, 14, 18, 0, tzinfo=UTC)
SATURDAY = date(2026, 9, 19)
TEN, TWO = time(10, 0), time(14, 0)
A_DAY, A_MONTH = timedelta(days=1), timedelta(days=30)


def make_instructor(**fields: Any) -> User:
    return make_person(Role.INSTRUCTOR, **fields)


def make_hall(name: str = "Tallow Hall", *, power_limit_w: int | None = None, altitude: str = "1040 m") -> Kitchen:
    hall = make_kitchen(name=name, altitude=altitude, is_hall=True)
    hall.power_limit_w = power_limit_w
    hall.save(update_fields=["power_limit_w"])
    return hall


def make_session(
    *,
    by: User | None = None,
    hall: Kitchen | None = None,
    day: date = SATURDAY,
    starts: time = TEN,
    ends: time = TWO,
    stations: int = 1,
    seats: int = 4,
    revision: Revision | None = None,
    state: str = SessionState.PUBLISHED,
    now: datetime = NOW,
    **fields: Any,
) -> ClassSession:
    """Published at `now` and open for sign-up, with so many stations of so many seats each, taught by `by`."""
    by = by or make_instructor()
    zone = ZoneInfo(settings.TIME_ZONE)
    starts_at = datetime.combine(day, starts, zone).astimezone(UTC)
    published = {} if state in (SessionState.DRAFT, SessionState.CANCELLED) else {"published_at": now}
    told: dict[str, Any] = {
        "title": "Plum spread in a morning",
        "signup_opens_at": now - A_MONTH,
        "signup_closes_at": starts_at - A_DAY,
        "hall": hall or make_hall(),
        "zone": settings.TIME_ZONE,
        "created_at": now,
        "changed_at": now,
        **published,
        **fields,
    }
    session = ClassSession.objects.create(
        token=uuid4(),
        day=day,
        starts=starts,
        ends=ends,
        starts_at=starts_at,
        ends_at=datetime.combine(day, ends, zone).astimezone(UTC),
        seats_total=stations * seats,
        state=state,
        created_by=by,
        **told,
    )
    session.instructors.add(by)
    revision = revision or (make_revision() if stations else None)
    for number in range(1, stations + 1):
        Station.objects.create(session=session, number=number, **_station(revision, seats=seats))
    return session


def make_station(session: ClassSession, *, revision: Revision | None = None, **fields: Any) -> Station:
    """One more station; the session's seats grow with it."""
    station = Station.objects.create(
        session=session, number=session.stations.count() + 1, **_station(revision or make_revision(), **fields)
    )
    session.seats_total += station.seats
    session.save(update_fields=["seats_total"])
    return station


def make_signup(
    session: ClassSession,
    person: User | None = None,
    *,
    places: int = 1,
    state: str = SignUpState.SEATED,
    now: datetime = NOW,
    **fields: Any,
) -> SignUp:
    """In this state since `now`; a seat that it holds is counted as taken."""
    times = {
        SignUpState.OFFERED: {"offered_at": now, "offer_until": now + timedelta(hours=48)},
        SignUpState.SEATED: {"seated_at": now},
        SignUpState.CANCELLED: {"closed_at": now},
        SignUpState.LAPSED: {"closed_at": now},
    }.get(SignUpState(state), {})
    told: dict[str, Any] = {"joined_at": now, **times, **fields}
    signup = SignUp.objects.create(
        session=session, person=person or make_person(), token=uuid4(), places=places, state=state, **told
    )
    if state in SEAT_STATES:
        session.seats_taken += places
        session.save(update_fields=["seats_taken"])
    return signup


def _station(revision: Revision | None, **fields: Any) -> dict[str, Any]:
    return {
        "revision": revision,
        "pots": 1,
        "jar_size": "half-pint",
        "canner": "boiling-water",
        "capacity": {"half-pint": 12, "pint": 9, "quart": 7},
        "burners_w": [2000, 2000],
        "cooks": 2,
        "seats": 4,
        **fields,
    }
