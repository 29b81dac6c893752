"""The day itself: who came, who sits where, the batches, and what is written afterwards."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import BinaryIO
from uuid import UUID, uuid5

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.db.models import F, Q
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from club.classes.choices import SessionState, SignUpState
from club.classes.models import (
    CAPTION_LENGTH,
    COMPANION_LENGTH,
    NOTE_LENGTH,
    CannerLoad,
    ClassSession,
    JarTaker,
    OwnNote,
    SessionPhoto,
    SessionReport,
    SignUp,
    Station,
    StationBatch,
    teaches,
)
from club.classes.planning import SessionPlan, batch_input, plan_of
from club.classes.rules import MOST_PLACES, Party, Table, seat_everybody
from club.classes.services.common import form_used, run_check, seats_free_at, session_on_the_day, signup_fresh
from club.classes.services.seats import seats_give_back, seats_take
from club.core.clock import now_or
from club.core.photos import MOST_BYTES, photo_as_jpeg
from club.core.text import first_name
from club.members.models import User
from club.members.services import skill_gain
from inventory.batches.choices import BatchState
from inventory.batches.models import Batch
from inventory.batches.services import batch_start
from inventory.equipment.services import gauge_check, lent_check

# Who came: the roll, walk-ins while seats remain, and a companion who was not announced.


@transaction.atomic
def roll_call(*, by: User, signup: SignUp, came: int | None, now: datetime | None = None) -> SignUp:
    """How many of a party came; 0 is absent, None takes it back: not called yet.

    Who is absent leaves their station, so that its seats are free for others.
    """
    session = session_on_the_day(by, signup.session, now_or(now))
    signup = signup_fresh(session, signup)
    if came is not None and not 0 <= came <= signup.places:
        raise ValidationError(_("This party has %(n)s: count again.") % {"n": signup.places})
    if not came:
        _not_taking_jars(signup)
    if came == 0:
        signup.station = None
    signup.came = came
    signup.save(update_fields=["came", "station"])
    return signup


def _not_taking_jars(signup: SignUp) -> None:
    """Before the start somebody else is chosen; after it the batch is theirs."""
    if StationBatch.objects.filter(station__taker__signup=signup).exists():
        raise ValidationError(
            _("The batch of %(station)s was started for %(person)s, so they came.")
            % {"station": signup.station.label if signup.station else "", "person": signup.person}
        )
    JarTaker.objects.filter(signup=signup).delete()


@transaction.atomic
def walk_in_take(
    *,
    by: User,
    session: ClassSession,
    person: User,
    token: UUID,
    places: int = 1,
    companion: str = "",
    now: datetime | None = None,
) -> SignUp:
    """Somebody at the door is given a seat, while seats remain; the roll says at once that they came.

    1. The same form sent twice finds what it made. Who has a seat already is only called on the roll.
    2. Whoever was offered a seat takes that one; whoever waited takes a free one before those who are not here.
    3. Seats are taken by an update that asks whether they are there: never one too many, whoever races.
    """
    now = now_or(now)
    session = session_on_the_day(by, session, now)
    made = SignUp.objects.filter(token=token, session=session).first()
    if made is not None:
        return made
    if places not in range(1, MOST_PLACES + 1) or (companion and places < MOST_PLACES):
        raise ValidationError({"places": _("One person, or two who stay together.")})
    if not person.is_active:
        raise ValidationError({"person": _("Nobody of the club is called so any more.")})
    if teaches(person, session):
        text = _("%(person)s teaches this session: its seats are for those who learn.") % {"person": person}
        raise ValidationError({"person": text})
    before = SignUp.objects.open().filter(session=session, person=person).first()
    if before is not None:
        return _who_was_listed(session, before, now)
    if SignUp.objects.filter(token=token).exists():
        raise form_used()
    _seats_take(session, places)
    return SignUp.objects.create(
        session=session,
        person=person,
        token=token,
        places=places,
        companion=_first_name(companion),
        state=SignUpState.SEATED,
        is_walk_in=True,
        joined_at=now,
        seated_at=now,
        came=places,
    )


def _who_was_listed(session: ClassSession, signup: SignUp, now: datetime) -> SignUp:
    if signup.state == SignUpState.WAITING:
        _seats_take(session, signup.places)
        signup.is_walk_in = True
    if signup.state != SignUpState.SEATED:
        signup.state, signup.seated_at = SignUpState.SEATED, now
    signup.came = signup.places
    signup.save(update_fields=["state", "seated_at", "came", "is_walk_in"])
    return signup


def _seats_take(session: ClassSession, places: int) -> None:
    if not seats_take(session.pk, places):
        raise ValidationError(
            _("There is no seat left. When somebody has not come, mark them absent and free their seat first.")
        )


@transaction.atomic
def companion_take(*, by: User, signup: SignUp, name: str, now: datetime | None = None) -> SignUp:
    """A guest who came along with a member takes a second seat beside them, while seats remain.

    A guest has no account, so is always somebody's companion. Where the station has no seat for both, the party
    leaves it and is seated anew.
    """
    session = session_on_the_day(by, signup.session, now_or(now))
    signup = signup_fresh(session, signup)
    name = _first_name(name)
    if not name:
        raise ValidationError({"name": _("Write the name of who came along.")})
    if signup.places >= MOST_PLACES:
        raise ValidationError({"name": _("This party is two already.")})
    _seats_take(session, 1)
    # Who brings somebody is here too, unless they were called absent.
    came = MOST_PLACES if signup.came is None else signup.came + 1
    signup.places, signup.companion, signup.came = MOST_PLACES, name, came
    if signup.station is not None and seats_free_at(signup.station, besides=signup) < MOST_PLACES:
        _not_taking_jars(signup)
        signup.station = None
    signup.save(update_fields=["places", "companion", "came", "station"])
    return signup


@transaction.atomic
def absent_seat_free(*, by: User, signup: SignUp, now: datetime | None = None) -> SignUp:
    """The seat of somebody who did not come is free for a walk-in: the sign-up is closed, absent on the roll."""
    now = now_or(now)
    session = session_on_the_day(by, signup.session, now)
    signup = signup_fresh(session, signup)
    absent = SignUp.objects.seated().filter(pk=signup.pk, came=0)
    if absent.update(state=SignUpState.CANCELLED, closed_at=now, needs="") != 1:
        raise ValidationError(_("Mark her absent first."))
    seats_give_back(session.pk, signup.places)
    signup.refresh_from_db()
    return signup


def _first_name(text: str) -> str:
    return first_name(text)[:COMPANION_LENGTH]


# Who sits where, who takes a station's jars home, the start of all batches at once, and what is in the canners.

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
            _("%(person)s takes the jars of their station home, and stays.") % {"person": signup.person}
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
    without_station = list(SignUp.objects.at_the_hall().filter(session=session, station=None).select_related("person"))
    tables = [Table(station.pk, station.seats, station.seats - seats_free_at(station)) for station in stations]
    seated = seat_everybody([Party(signup.pk, signup.places) for signup in without_station], tables)
    for signup in without_station:
        if signup.pk in seated:
            SignUp.objects.filter(pk=signup.pk).update(station=seated[signup.pk])
    return [signup for signup in without_station if signup.pk not in seated]


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
    values = {"signup": signup, "chosen_by": by, "chosen_at": now}
    return JarTaker.objects.update_or_create(station=station, defaults=values)[0]


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
    2. Everything against any station is refused at once, by station, and nothing is started.
    3. A second press finds the batches of the first: one batch a station, by constraint.
    """
    now = now_or(now)
    session = session_on_the_day(by, session, now)
    done, problems = Started(), []
    plan = plan_of(session)
    for station in session.stations.select_related("revision__recipe", "cooking", "taker__signup__person"):
        came = list(SignUp.objects.came().filter(session=session, station=station).select_related("person"))
        if hasattr(station, "cooking"):
            done.before.append(station.cooking)
        elif not came:
            done.empty.append(station)
        else:
            try:
                done.new.append(_start(by, plan, station, came, now))
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
    return _start(by, plan_of(session), fresh, came, now, after=cooking.batch_id)


def _start(
    by: User, plan: SessionPlan, station: Station, came: list[SignUp], now: datetime, *, after: int | None = None
) -> StationBatch:
    """`after`: the batch that was given up before.

    Under pressure the batch names every canner that is held for its station.
    """
    session = plan.session
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
            canner_code=_canner_codes(plan, station),
            now=now,
            **batch_input(station),
        )
        return StationBatch.objects.create(station=station, batch=batch)


def _canner_codes(plan: SessionPlan, station: Station) -> str:
    """ "DGC-01, DGC-02"; "" where nothing is processed under pressure. ValidationError where no pressure canner is
    held for it, or one of those that are is not fit."""
    planned = next(each.plan for each in plan.hall.stations if each.number == station.number)
    if planned.process is None or planned.process.pressure_psi is None:
        return ""
    held = plan.canners.get(station.number)
    if not held:
        raise ValidationError(
            _("No pressure canner is held for it. Hold one with a good test on the session's gear page first.")
        )
    for one in held:
        gauge_check(one.thing, plan.session.day)
        lent_check(one.thing)
    return ", ".join(one.thing.code for one in held)


def _taker(by: User, station: Station, came: list[SignUp], now: datetime) -> SignUp:
    chosen: JarTaker | None = getattr(station, "taker", None)
    if chosen is not None and chosen.signup in came:
        return chosen.signup
    if len(came) > 1:
        raise ValidationError(_("Choose who takes its jars home."))
    values = {"signup": came[0], "chosen_by": by, "chosen_at": now}
    JarTaker.objects.update_or_create(station=station, defaults=values)
    return came[0]


@transaction.atomic
def load_begin(*, by: User, cooking: StationBatch, number: int, now: datetime | None = None) -> CannerLoad:
    """The minutes of a canner load count from now. Pressing again changes nothing."""
    now = now_or(now)
    session_on_the_day(by, cooking.station.session, now, states=AT_THE_STOVE)
    _on_the_stove_check(cooking)
    if not 1 <= number <= loads_of(cooking):
        raise ValidationError(_("This batch has no such load."))
    values = {"began_at": now, "began_by": by}
    return CannerLoad.objects.get_or_create(cooking=cooking, number=number, defaults=values)[0]


@transaction.atomic
def load_take_back(*, by: User, cooking: StationBatch, number: int, now: datetime | None = None) -> None:
    """The minutes did not begin yet after all, or begin anew: the boil or the pressure was lost."""
    session_on_the_day(by, cooking.station.session, now_or(now), states=AT_THE_STOVE)
    _on_the_stove_check(cooking)
    CannerLoad.objects.filter(cooking=cooking, number=number).delete()


def loads_of(cooking: StationBatch) -> int:
    """How many loads the batch's plan has; one where it could not be timed, none for the freezer."""
    if cooking.batch.is_cold_kind:
        return 0
    return max(len(cooking.batch.plan.get("loads", ())), 1)


def _on_the_stove_check(cooking: StationBatch) -> None:
    cooking.batch.refresh_from_db(fields=["state"])
    if cooking.batch.state != BatchState.STARTED:
        raise ValidationError(_("This batch is not on the stove any more."))


# When the day is over: the session is closed, and what was learned, own notes and pictures are kept with it.

MOST_PHOTOS = 12  # our own choice, no source


def still_cooking(session: ClassSession) -> list[Batch]:
    """Batches that the closing of a session waits for, the longest on the stove first.

    Its stations'; whatever else cooks in its hall; and what those who came have on a stove at home, also where that
    was started before the class opened: they stand in the hall, and nobody looks after the pot.
    """
    came = SignUp.objects.came().filter(session=session).values("person")
    rows = Batch.objects.open().filter(
        Q(at_station__station__session=session) | Q(kitchen=session.hall_id) | Q(made_by__in=came)
    )
    named = rows.select_related("revision__recipe", "kitchen", "made_by").defer("plan", "revision__content")
    return list(named.order_by("started_at", "pk"))


def codes_of(batches: Iterable[Batch]) -> str:
    """What somebody agreed to who closes the session all the same."""
    return " ".join(batch.lot_code for batch in batches)


@transaction.atomic
def session_close(
    *, by: User, session: ClassSession, learned: str = "", agreed_to: str = "", now: datetime | None = None
) -> ClassSession:
    """The session was held. The roll must be whole: who was there is what everything afterwards hangs on.

    ValidationError before it began, while somebody is not called yet, and when it was closed already; and beside
    `still_cooking` while pots are on the stove, unless just those are agreed to (`codes_of`). Their logs can be
    written afterwards as well.
    """
    now = now_or(now)
    session = session_on_the_day(by, session, now)
    if now < session.starts_at:
        raise ValidationError(_("This session has not begun yet."))
    uncalled = SignUp.objects.seated().filter(session=session, came=None).count()
    if uncalled:
        text = ngettext("%(n)s sign-up is not called yet.", "%(n)s sign-ups are not called yet.", uncalled)
        raise ValidationError(f"{text % {'n': uncalled}} {_('Say of each who came, or that nobody did.')}")
    cooking = still_cooking(session)
    if cooking and codes_of(cooking) != agreed_to:
        text = ngettext(
            "%(n)s batch is on the stove still. Write its log first; or tick that it goes on without the class.",
            "%(n)s batches are on the stove still. Write their logs first; or tick that they go on without the class.",
            len(cooking),
        )
        raise ValidationError({"still_cooking": text % {"n": len(cooking)}})
    values = {"learned": _text(learned, "learned"), "closed_by": by, "changed_at": now}
    ClassSession.objects.filter(pk=session.pk).update(state=SessionState.HELD, held_at=now)
    SessionReport.objects.create(session=session, **values)
    _skills_note(by, session)
    return ClassSession.objects.get(pk=session.pk)


def _skills_note(by: User, session: ClassSession) -> None:
    """Whoever signed up and came has learned what the session teaches. An organiser closes for those who taught it.

    Nobody says it of themselves: where nobody else may say it, it is not noted, and another instructor waives it.
    """
    if not session.skill:
        return
    teachers = [by, *session.instructors.filter(is_active=True).order_by("pk")]
    may_note = [one for one in teachers if one.has_perm("members.note_skill")]
    if not may_note:
        raise ValidationError(_("This class teaches a skill: an instructor closes it, who may say who learned it."))
    for signup in SignUp.objects.came().filter(session=session).select_related("person"):
        noted_by = next((one for one in may_note if one.pk != signup.person_id), None)
        if noted_by is not None:
            skill_gain(
                by=noted_by,
                person=signup.person,
                skill=session.skill,
                gained_on=session.day,
                class_title=session.title,
            )


@transaction.atomic
def learned_change(*, by: User, session: ClassSession, learned: str, now: datetime | None = None) -> None:
    """What was learned, written anew; only of a session that was held."""
    run_check(by, session)
    values = {"learned": _text(learned, "learned"), "changed_at": now_or(now)}
    if SessionReport.objects.filter(session=session).update(**values) != 1:
        raise ValidationError(_("Close the session first."))


@transaction.atomic
def own_note_write(*, by: User, signup: SignUp, text: str, now: datetime | None = None) -> None:
    """A student's own note; an empty one is taken away. Theirs alone to write."""
    if not SignUp.objects.came().of(by).filter(pk=signup.pk).exists():
        raise PermissionDenied
    text = _text(text, "text")
    if text:
        OwnNote.objects.update_or_create(signup=signup, defaults={"text": text, "changed_at": now_or(now)})
    else:
        OwnNote.objects.filter(signup=signup).delete()


@transaction.atomic
def photo_add(
    *,
    by: User,
    session: ClassSession,
    file: BinaryIO,
    caption: str,
    shown_agreed: bool,
    token: UUID,
    now: datetime | None = None,
) -> SessionPhoto:
    """A picture of the day; place and time that a phone writes into it are left out. The caption is its text.

    `shown_agreed`: everybody who can be made out in it agreed, or nobody can; without that it is not taken
    (ValidationError).
    """
    run_check(by, session)
    made = SessionPhoto.objects.filter(token=token, session=session).first()
    if made is not None:
        return made
    caption = " ".join(caption.split())
    if not caption or len(caption) > CAPTION_LENGTH:
        raise ValidationError({"caption": _("Say in a few words what it shows.")})
    if not shown_agreed:
        raise ValidationError({"shown_agreed": _("Ask the people in it first, or take another picture.")})
    jpeg = photo_as_jpeg(file.read(MOST_BYTES + 1))
    # An update that changes nothing makes a second press wait, so that the count below holds.
    ClassSession.objects.filter(pk=session.pk).update(title=F("title"))
    if SessionPhoto.objects.filter(session=session).count() >= MOST_PHOTOS:
        raise ValidationError({"photo": _("A session keeps %(n)s pictures: remove one first.") % {"n": MOST_PHOTOS}})
    if SessionPhoto.objects.filter(token=token).exists():
        raise form_used()
    values = {"jpeg": jpeg, "caption": caption, "shown_agreed": True, "added_by": by, "added_at": now_or(now)}
    return SessionPhoto.objects.create(session=session, token=token, **values)


@transaction.atomic
def photo_remove(*, by: User, photo: SessionPhoto) -> None:
    run_check(by, photo.session)
    SessionPhoto.objects.filter(pk=photo.pk).delete()


def _text(text: str, field: str) -> str:
    text = text.strip()
    if len(text) > NOTE_LENGTH:
        raise ValidationError({field: _("At most %(n)s characters, please.") % {"n": NOTE_LENGTH}})
    return text
