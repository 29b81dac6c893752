"""What the services of the day share: who may, the session held fast for one write, and people at a station."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db.models import F
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from club.classes.models import ClassSession, SignUp, Station
from club.classes.services.running import run_check
from club.classes.words import SessionState
from club.members.models import User


def session_on_the_day(
    by: User, session: ClassSession, now: datetime, *, states: Sequence[SessionState] = (SessionState.PUBLISHED,)
) -> ClassSession:
    """The session read anew, and held until the transaction ends; for every write of the day.

    The update changes nothing: it says whether the session is on, and makes others wait for their turn, on PostgreSQL
    by the row's lock, on SQLite because there is one writer. What is counted after it stays true until we are done.
    """
    run_check(by, session)
    on = ClassSession.objects.filter(pk=session.pk, state__in=states)
    if on.update(seats_taken=F("seats_taken")) != 1:
        raise ValidationError(_("This session is not on: it was cancelled, or closed already."))
    fresh = ClassSession.objects.select_related("hall").get(pk=session.pk)
    if day_of(fresh, now) < fresh.day:
        raise ValidationError(_("This is for the day itself, %(day)s.") % {"day": date_format(fresh.day, "l j F")})
    return fresh


def day_of(session: ClassSession, now: datetime) -> date:
    """The day it is on the session's own wall."""
    return now.astimezone(ZoneInfo(session.zone)).date()


def signup_fresh(session: ClassSession, signup: SignUp) -> SignUp:
    """The sign-up as it is now; ValidationError when it has no seat any more."""
    fresh = SignUp.objects.seated().select_related("person", "station").filter(session=session, pk=signup.pk).first()
    if fresh is None:
        raise ValidationError(_("This sign-up has no seat any more. Look at the list again."))
    return fresh


def seats_free_at(station: Station, *, besides: SignUp | None = None) -> int:
    """Seats that nobody sits on or is awaited at; a party counts whole, whoever of it has come."""
    people = SignUp.objects.at_the_hall().filter(station=station)
    if besides is not None:
        people = people.exclude(pk=besides.pk)
    return station.seats - sum(people.values_list("places", flat=True))
