"""What the writes of a plan share: who may, the lock on a session's row, and text as it is kept."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from django.core.exceptions import PermissionDenied, ValidationError
from django.db.models import F
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from club.classes.choices import SessionState
from club.classes.models import PLAN, ClassSession, SignUp, Station
from club.core.text import seen
from club.members.models import User

OPEN = (SessionState.DRAFT, SessionState.PUBLISHED)
LONG_TEXT = 4000


def form_used() -> ValidationError:
    """For a form whose token made something else, or something of somebody else's."""
    return ValidationError(_("This form was used for something else already. Open the page again."))


def planner_check(by: User) -> None:
    if not by.has_perm(PLAN):
        raise PermissionDenied


def run_check(by: User, session: ClassSession) -> None:
    """Only its own instructors, and whoever made it."""
    if not ClassSession.objects.run_by(by).filter(pk=session.pk).exists():
        raise PermissionDenied


def session_lock(session: ClassSession, *, states: Sequence[SessionState] = OPEN) -> ClassSession:
    """The session as it is now; whoever else locks it waits for this transaction to end.

    An UPDATE that changes nothing takes the row on PostgreSQL; on SQLite the transaction has the whole database.
    ValidationError when the session is not in one of these states any more.
    """
    rows = ClassSession.objects.filter(pk=session.pk)
    if rows.filter(state__in=states).update(seats_total=F("seats_total")) == 1:
        return rows.select_related("hall").get()
    raise ValidationError(_refused(rows.get()), code="state")


def _refused(session: ClassSession) -> str:
    if session.state == SessionState.PUBLISHED:
        return _("It is published: people have signed up for what it says. Stations and recipes stay as they are.")
    if session.state == SessionState.CANCELLED:
        return _("This session is cancelled. Plan a new one.")
    if session.state == SessionState.HELD:
        return _("This session was held already.")
    return _("This session is not published yet.")


def line_clean(text: str, *, field: str, longest: int, needed: bool = False) -> str:
    """As text_clean, on one line: for what stands in the head of a mail or a calendar. ValidationError on `field`."""
    return text_clean(seen(text), field=field, longest=longest, needed=needed)


def text_clean(text: str, *, field: str, longest: int = LONG_TEXT, needed: bool = False) -> str:
    """Lines kept, other spaces put together. ValidationError on `field`."""
    clean = "\n".join(" ".join(line.split()) for line in text.replace("\0", "").strip().splitlines())
    if needed and not clean:
        raise ValidationError({field: _("Write something here.")})
    if len(clean) > longest:
        raise ValidationError({field: _("At most %(n)s characters.") % {"n": longest}})
    return clean


# What the services of the day share: who may, the session held fast for one write, and people at a station.


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
    if now.astimezone(ZoneInfo(fresh.zone)).date() < fresh.day:
        raise ValidationError(_("This is for the day itself, %(day)s.") % {"day": date_format(fresh.day, "l j F")})
    return fresh


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


def session_reference(session: ClassSession) -> str:
    """What the people's ledger calls it: the day first, as a long title is cut off."""
    return f"{session.day.isoformat()} {session.title}"
