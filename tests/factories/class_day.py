"""The day of a session: whose hours it is, people on the roll and at the stoves, through the room's own services."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

from club.classes.models import ClassSession, SessionGear, SignUp, Station, StationBatch
from club.classes.services import day
from club.members.models import User
from inventory.batches.models import Batch
from inventory.batches.services import batch_log_process
from inventory.equipment.choices import Kind
from inventory.equipment.models import Thing
from inventory.equipment.services import hold_place
from tests.factories.batches import without_lots
from tests.factories.classes import make_session, make_signup
from tests.factories.equipment import make_test, make_thing

# Ten in the morning of the sessions' Saturday, in the club's zone.
MORNING = datetime(2026, 9, 19, 16, 0, tzinfo=UTC)
NOON = MORNING + timedelta(hours=2)


def runner_of(session: ClassSession) -> User:
    return session.created_by


def make_called(session: ClassSession, *, came: int | None = None, now: datetime = MORNING, **fields: Any) -> SignUp:
    """A sign-up that was called on the roll; the whole party came unless told otherwise."""
    signup = make_signup(session, **fields)
    came = signup.places if came is None else came
    return day.roll_call(by=runner_of(session), signup=signup, came=came, now=now)


def make_at_station(station: Station, *, now: datetime = MORNING, **fields: Any) -> SignUp:
    """Somebody who came and sits there."""
    signup = make_called(station.session, now=now, **fields)
    return day.signup_sit(by=runner_of(station.session), signup=signup, station=station, now=now)


def make_cooking(*, now: datetime = MORNING, **fields: Any) -> StationBatch:
    """One station, one person at it, its batch on the stove since `now`."""
    session = make_session(**fields)
    make_at_station(session.stations.get(), now=now)
    return day.stations_start(by=runner_of(session), session=session, now=now).new[0]


def log_out(cooking: StationBatch, *, by: User | None = None, now: datetime = NOON) -> Batch:
    """The station's jars are out of the canner, logged by who started them."""
    batch = cooking.batch
    return batch_log_process(
        by=by or batch.started_by or batch.made_by,
        batch=batch,
        jars={"half-pint": 4},
        minutes=batch.required_minutes,
        lid_code="LID 7",
        lots=without_lots(batch),
        jars_out_at=now,
        now=now,
    )


def make_held(cooking: StationBatch, *, learned: str = "Skim at the end.", now: datetime = NOON) -> ClassSession:
    session = cooking.station.session
    agreed = day.codes_of(day.still_cooking(session))
    return day.session_close(by=runner_of(session), session=session, learned=learned, agreed_to=agreed, now=now)


def make_dial_held(session: ClassSession, *, now: datetime = MORNING - timedelta(days=3), **tested: Any) -> Thing:
    """A pressure canner with a dial gauge, tested a month before and held for the session's day; 0.5 psi high."""
    dial = make_thing(Kind.DIAL_GAUGE, capacity={"pint": 9}, now=now - timedelta(days=40))
    make_test(dial, session.day - timedelta(days=30), **{"now": now, **tested})
    day, by = session.day, runner_of(session)
    hold = hold_place(by=by, thing=dial, starts=day, ends=day, purpose="class", token=uuid4(), now=now)
    SessionGear.objects.create(session=session, hold=hold, kind=dial.kind)
    return dial
