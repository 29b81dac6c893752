"""Who came: the roll, walk-ins while seats remain, and a companion who was not announced."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from club.classes.models import ClassSession, JarTaker, SignUp, StationBatch
from club.classes.needs import teaches
from club.classes.services.on_the_day import now_or, seats_free_at, session_on_the_day, signup_fresh
from club.classes.services.running import form_used
from club.classes.words import SignUpState
from club.members.models import User

COMPANION_LENGTH = 120
PARTY = 2  # the largest that a sign-up holds


@transaction.atomic
def roll_call(*, by: User, signup: SignUp, came: int | None, now: datetime | None = None) -> SignUp:
    """How many of a party came; 0 is absent, None takes it back: not called yet.

    Who is absent leaves her station, so that its seats are free for others.
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
    """Before the start somebody else is chosen; after it the batch is hers."""
    if StationBatch.objects.filter(station__taker__signup=signup).exists():
        raise ValidationError(
            _("The batch of %(station)s was started for %(person)s, so she came.")
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
    """Somebody at the door is given a seat, while seats remain. She has come, so the roll says so at once.

    1. The same form sent twice finds what it made. Who has a seat already is only called on the roll.
    2. Whoever was offered a seat takes that one; whoever waited takes a free one before those who are not here.
    3. Seats are taken by an update that asks whether they are there: never one too many, whoever races.
    """
    now = now_or(now)
    session = session_on_the_day(by, session, now)
    made = SignUp.objects.filter(token=token, session=session).first()
    if made is not None:
        return made
    if places not in range(1, PARTY + 1) or (companion and places < PARTY):
        raise ValidationError({"places": _("One person, or two who stay together.")})
    if not person.is_active:
        raise ValidationError({"person": _("Nobody of the club is called so any more.")})
    if teaches(person, session):
        told = _("%(person)s teaches this session: its seats are for those who learn.") % {"person": person}
        raise ValidationError({"person": told})
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
        companion=_plain(companion),
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
    room = ClassSession.objects.filter(pk=session.pk, seats_taken__lte=F("seats_total") - places)
    if room.update(seats_taken=F("seats_taken") + places) != 1:
        raise ValidationError(
            _("There is no seat left. When somebody has not come, mark her absent and give her seat free first.")
        )


@transaction.atomic
def companion_take(*, by: User, signup: SignUp, name: str, now: datetime | None = None) -> SignUp:
    """A guest who came along with a member takes a second seat beside her, while seats remain.

    A guest has no account, so she is always somebody's companion. Where the station has no seat for both, the party
    leaves it and is seated anew.
    """
    session = session_on_the_day(by, signup.session, now_or(now))
    signup = signup_fresh(session, signup)
    name = _plain(name)
    if not name:
        raise ValidationError({"name": _("Write the name of who came along.")})
    if signup.places >= PARTY:
        raise ValidationError({"name": _("This party is two already.")})
    _seats_take(session, 1)
    # Who brings somebody is here herself, unless she was called absent.
    came = PARTY if signup.came is None else signup.came + 1
    signup.places, signup.companion, signup.came = PARTY, name, came
    if signup.station is not None and seats_free_at(signup.station, besides=signup) < PARTY:
        _not_taking_jars(signup)
        signup.station = None
    signup.save(update_fields=["places", "companion", "came", "station"])
    return signup


@transaction.atomic
def absent_seat_free(*, by: User, signup: SignUp, now: datetime | None = None) -> SignUp:
    """The seat of somebody who did not come is free for a walk-in. Her sign-up is closed; the roll keeps her absent."""
    now = now_or(now)
    session = session_on_the_day(by, signup.session, now)
    signup = signup_fresh(session, signup)
    absent = SignUp.objects.seated().filter(pk=signup.pk, came=0)
    if absent.update(state=SignUpState.CANCELLED, closed_at=now, needs="") != 1:
        raise ValidationError(_("Mark her absent first."))
    ClassSession.objects.filter(pk=session.pk).update(seats_taken=F("seats_taken") - signup.places)
    signup.refresh_from_db()
    return signup


def _plain(text: str) -> str:
    return " ".join(text.split())[:COMPANION_LENGTH]
