"""A class of the demo club as it went: run through the rooms' own services, with the clock turned back."""

from __future__ import annotations

from collections import Counter
from datetime import datetime, timedelta
from uuid import uuid4

from club.classes.models import ClassSession, SignUp, Station, StationBatch
from club.classes.services import day
from club.members.models import User
from inventory.batches.models import Batch
from inventory.batches.services import batch_log_process, seals_record

LIDS = "TB-CLASS"
LEARNED = "Four hours were enough with everything washed beforehand. Warm the jars while the fruit comes to the boil."
NOTE = "Mine set after a night. Next time I chop the fruit smaller."
STARTED_AFTER = timedelta(minutes=15)
COOKED_FOR = timedelta(minutes=40)
CLEANING = timedelta(minutes=15)
LOOKED_AFTER = timedelta(hours=14)


def class_day_lay_down(session: ClassSession, *, now: datetime) -> ClassSession:
    """Call the roll, seat everybody, cook, log, close and look at the seals, each at its hour; none of it after `now`.

    `session` is published, with stations and seated sign-ups, and over before `now`. Of three parties or more the
    last to sign up was absent; one jar of the first batch did not seal. An instructor presses, each taker looks.
    """
    by = session.instructors.order_by("pk").first() or session.created_by
    _roll(by, session)
    day.everybody_sit(by=by, session=session, now=session.starts_at)
    _takers(by, session)
    started = day.stations_start(by=by, session=session, now=session.starts_at + STARTED_AFTER)
    batches = [_cook(by, cooking) for cooking in started.new]
    held = day.session_close(by=by, session=session, learned=LEARNED, now=max(_outs(batches, session.ends_at)))
    first = SignUp.objects.came().filter(session=session).order_by("joined_at", "pk").first()
    if first is not None:
        day.own_note_write(by=first.person, signup=first, text=NOTE, now=min(now, session.ends_at + LOOKED_AFTER))
    for number, batch in enumerate(batches):
        _look(batch, unsealed=number == 0, now=now)
    return held


def _roll(by: User, session: ClassSession) -> None:
    signups = list(SignUp.objects.seated().filter(session=session).order_by("joined_at", "pk"))
    for number, signup in enumerate(signups, start=1):
        was_absent = number == len(signups) > 2
        came = 0 if was_absent else signup.places
        day.roll_call(by=by, signup=signup, came=came, now=session.starts_at)


def _takers(by: User, session: ClassSession) -> None:
    for station in Station.objects.filter(session=session):
        signup = SignUp.objects.came().filter(station=station).order_by("joined_at", "pk").first()
        if signup is not None:
            day.taker_choose(by=by, station=station, signup=signup, now=session.starts_at)


def _cook(by: User, cooking: StationBatch) -> Batch:
    """Its loads go in one after the other; the jars are out a quarter of an hour before the session ends."""
    session, batch = cooking.station.session, cooking.batch
    minutes = timedelta(minutes=batch.required_minutes or 0)
    begins = session.starts_at + STARTED_AFTER + COOKED_FOR
    for number in range(1, day.loads_of(cooking) + 1):
        at = begins + (number - 1) * minutes
        day.load_begin(by=by, cooking=cooking, number=number, now=at)
    out = max(session.ends_at - CLEANING, begins + minutes)
    jars = Counter({jar["size"]: jar["count"] for jar in batch.plan["jars"]}) or Counter({batch.jar_size: 1})
    return batch_log_process(
        by=by,
        batch=batch,
        jars=jars,
        minutes=batch.required_minutes,
        psi=batch.required_psi,
        process_started_at=None if batch.is_frozen_kind else begins,
        jars_out_at=out,
        lid_code="" if batch.is_frozen_kind else LIDS,
        now=out,
    )


def _outs(batches: list[Batch], ends: datetime) -> list[datetime]:
    return [ends, *(batch.jars_out_at for batch in batches if batch.jars_out_at)]


def _look(batch: Batch, *, unsealed: bool, now: datetime) -> None:
    at = batch.jars_out_at + LOOKED_AFTER if batch.jars_out_at else now
    if batch.is_frozen_kind or at > now:
        return
    loose = [1] if unsealed else []
    numbers = batch.jars.values_list("number", flat=True)
    seals_record(
        by=batch.made_by,
        batch=batch,
        token=uuid4(),
        results={number: "unsealed" if number in loose else "sealed" for number in numbers},
        disposals=dict.fromkeys(loose, "refrigerate"),
        now=at,
    )
