"""Who sits where, who takes a station's jars home, the start of all batches at once, and what is in the canners."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from uuid import uuid5

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from club.classes.models import CannerLoad, ClassSession, JarTaker, SignUp, Station, StationBatch
from club.classes.planning import batch_wish
from club.classes.seating import Party, Table, seat_everybody
from club.classes.services.on_the_day import seats_free_at, session_on_the_day, signup_fresh
from club.classes.words import SessionState
from club.members.models import User
from inventory.batches.models import BatchState
from inventory.batches.services import batch_start
from inventory.equipment.services.common import now_or

# Jars in a canner do not care whether the session was closed: a boil that is lost then still begins anew.
AT_THE_STOVE = (SessionState.PUBLISHED, SessionState.HELD)


@transaction.atomic
def signup_sit(*, by: User, signup: SignUp, station: Station | None, now: datetime | None = None) -> SignUp:
    """A party sits at a station, whole, while the station has seats for it; None: at none.

    Who takes the jars of a started batch home stays where it is cooked.
    """
    session = session_on_the_day(by, signup.session, now_or(now))
    signup = signup_fresh(session, signup)
    station_pk = station.pk if station else None
    if signup.station_id == station_pk:
        return signup
    if StationBatch.objects.filter(station__taker__signup=signup).exists():
        raise ValidationError(
            _("%(person)s takes the jars of her station home: she stays.") % {"person": signup.person}
        )
    if station is not None:
        _room_check(session, signup, station)
    JarTaker.objects.filter(signup=signup).delete()
    signup.station = station
    signup.save(update_fields=["station"])
    return signup


def _room_check(session: ClassSession, signup: SignUp, station: Station) -> None:
    if signup.came == 0:
        raise ValidationError(_("%(person)s is marked absent.") % {"person": signup.person})
    if station.session_id != session.pk:
        raise ValidationError(_("That station is of another session."))
    if seats_free_at(station, besides=signup) < signup.places:
        raise ValidationError(
            _("%(station)s has no room for %(person)s. Choose another, or move somebody first.")
            % {"station": station.label, "person": signup.person}
        )


@transaction.atomic
def everybody_sit(*, by: User, session: ClassSession, now: datetime | None = None) -> list[SignUp]:
    """Whoever has no station yet is given one, the stations alike in people. Returns those who found no room."""
    session = session_on_the_day(by, session, now_or(now))
    stations = list(session.stations.all())
    standing = list(SignUp.objects.at_the_hall().filter(session=session, station=None).select_related("person"))
    tables = [Table(station.pk, station.seats, station.seats - seats_free_at(station)) for station in stations]
    seated = seat_everybody([Party(signup.pk, signup.places) for signup in standing], tables)
    for signup in standing:
        if signup.pk in seated:
            SignUp.objects.filter(pk=signup.pk).update(station=seated[signup.pk])
    return [signup for signup in standing if signup.pk not in seated]


@transaction.atomic
def taker_choose(*, by: User, station: Station, signup: SignUp, now: datetime | None = None) -> JarTaker:
    """The station's jars go home with this one of its people. Not after the start: then the batch has its person."""
    now = now_or(now)
    session = session_on_the_day(by, station.session, now)
    signup = signup_fresh(session, signup)
    if StationBatch.objects.filter(station=station).exists():
        raise ValidationError(_("The batch of %(station)s is started already.") % {"station": station.label})
    if signup.station_id != station.pk or not signup.came:
        raise ValidationError(_("Choose somebody who came and sits at this station."))
    told = {"signup": signup, "chosen_by": by, "chosen_at": now}
    return JarTaker.objects.update_or_create(station=station, defaults=told)[0]


@dataclass
class Started:
    """What one press did: new batches, those that were started before, and stations where nobody sits."""

    new: list[StationBatch] = field(default_factory=list)
    before: list[StationBatch] = field(default_factory=list)
    empty: list[Station] = field(default_factory=list)


@transaction.atomic
def stations_start(*, by: User, session: ClassSession, now: datetime | None = None) -> Started:
    """A batch for each station with people, in the hall, from the station's own plan; all of them or none.

    1. Each station's jars are those of one person: who was chosen, or the only party that came to it.
    2. Whatever speaks against any station is told at once, by station, and nothing is started.
    3. A second press finds the batches of the first: one batch a station, by constraint.
    """
    now = now_or(now)
    session = session_on_the_day(by, session, now)
    done, problems = Started(), []
    for station in session.stations.select_related("revision__recipe", "cooking", "taker__signup__person"):
        came = list(SignUp.objects.came().filter(session=session, station=station).select_related("person"))
        if hasattr(station, "cooking"):
            done.before.append(station.cooking)
        elif not came:
            done.empty.append(station)
        else:
            try:
                done.new.append(_start(by, session, station, came, now))
            except ValidationError as error:
                problems += [f"{station.label}: {sentence}" for sentence in error.messages]
    if problems:
        raise ValidationError(problems)
    if not done.new and not done.before:
        raise ValidationError(_("Nobody who came sits at a station yet: call the roll and seat them first."))
    return done


@transaction.atomic
def station_start_again(*, by: User, station: Station, now: datetime | None = None) -> StationBatch:
    """Another batch for a station whose batch was given up, such as one that scorched. A second press finds it.

    The one that was given up stays where it is, with its reason; it is only not this station's any more.
    """
    now = now_or(now)
    session = session_on_the_day(by, station.session, now)
    cooking = StationBatch.objects.select_related("batch").get(station=station)
    if cooking.batch.state != BatchState.ABANDONED:
        return cooking
    came = list(SignUp.objects.came().filter(session=session, station=station).select_related("person"))
    if not came:
        raise ValidationError(_("Nobody who came sits at this station any more."))
    fresh = session.stations.select_related("revision__recipe", "taker__signup__person").get(pk=station.pk)
    cooking.loads.all().delete()
    cooking.delete()
    return _start(by, session, fresh, came, now, after=cooking.batch_id)


def _start(
    by: User, session: ClassSession, station: Station, came: list[SignUp], now: datetime, *, after: int | None = None
) -> StationBatch:
    """`after`: the batch that was given up before."""
    # An inner transaction: a station that is refused leaves the outer one fit to ask the next one.
    with transaction.atomic():
        taker = _taker(by, station, came, now)
        if not taker.person.has_perm("batches.add_batch"):
            raise ValidationError(
                _("%(person)s may not put up batches: choose somebody else.") % {"person": taker.person}
            )
        batch = batch_start(
            by=by,
            for_person=taker.person,
            revision=station.revision,
            kitchen=session.hall,
            token=uuid5(session.token, f"station {station.pk} after {after}"),
            note=_("Class: %(title)s, %(station)s.") % {"title": session.title, "station": station.label},
            now=now,
            **batch_wish(station),
        )
        return StationBatch.objects.create(station=station, batch=batch)


def _taker(by: User, station: Station, came: list[SignUp], now: datetime) -> SignUp:
    chosen: JarTaker | None = getattr(station, "taker", None)
    if chosen is not None and chosen.signup in came:
        return chosen.signup
    if len(came) > 1:
        raise ValidationError(_("Choose who takes its jars home."))
    told = {"signup": came[0], "chosen_by": by, "chosen_at": now}
    JarTaker.objects.update_or_create(station=station, defaults=told)
    return came[0]


@transaction.atomic
def load_begin(*, by: User, cooking: StationBatch, number: int, now: datetime | None = None) -> CannerLoad:
    """The minutes of a canner load count from now. Pressing again changes nothing."""
    now = now_or(now)
    session_on_the_day(by, cooking.station.session, now, states=AT_THE_STOVE)
    _on_the_stove_check(cooking)
    if not 1 <= number <= loads_of(cooking):
        raise ValidationError(_("This batch has no such load."))
    told = {"began_at": now, "began_by": by}
    return CannerLoad.objects.get_or_create(cooking=cooking, number=number, defaults=told)[0]


@transaction.atomic
def load_take_back(*, by: User, cooking: StationBatch, number: int, now: datetime | None = None) -> None:
    """The minutes did not begin yet after all, or begin anew: the boil or the pressure was lost."""
    session_on_the_day(by, cooking.station.session, now_or(now), states=AT_THE_STOVE)
    _on_the_stove_check(cooking)
    CannerLoad.objects.filter(cooking=cooking, number=number).delete()


def loads_of(cooking: StationBatch) -> int:
    """How many loads the batch's plan has; one where it could not be timed, none for the freezer."""
    if cooking.batch.is_frozen_kind:
        return 0
    return max(len(cooking.batch.plan.get("loads", ())), 1)


def _on_the_stove_check(cooking: StationBatch) -> None:
    cooking.batch.refresh_from_db(fields=["state"])
    if cooking.batch.state != BatchState.STARTED:
        raise ValidationError(_("This batch is not on the stove any more."))
