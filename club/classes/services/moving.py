"""A session moved to other hours, with everything that is kept for it: all of it, or nothing."""

from __future__ import annotations

from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from club.classes.models import ClassSession, SignUp
from club.classes.services.gear import gear_move
from club.classes.services.publishing import plan_check
from club.classes.services.running import run_check, session_lock
from club.classes.services.sessions import Hours, hours_clean, session_write, signup_check
from club.core.clock import moment_near, wall_of
from club.members.models import User
from inventory.equipment.services.common import now_or


@transaction.atomic
def session_move(
    *, by: User, session: ClassSession, day: date, starts: time, ends: time, now: datetime | None = None
) -> ClassSession:
    """Other hours on the wall. In one transaction: the hours, the end of sign-up, and the holds.

    1. Each time comes just once that day, and is still to come. 2. Sign-up closes as long before the day as it did, at
    the same hour on the wall. 3. The holds move to the day, or Taken says which thing is taken, and when it is free.
    4. A published session must still be doable in its new hours: else PlanRefused. 5. Who came to it came on its day:
    after that it is not moved, and where nobody came the roll is called anew. Of any refusal nothing is changed.
    Raises PermissionDenied, ValidationError (day, starts, ends, signup_closes_at), Taken, PlanRefused.
    """
    run_check(by, session)
    moment = now_or(now)
    locked = session_lock(session)
    hours = hours_clean(day, starts, ends, now=moment)
    if (locked.day, locked.starts, locked.ends) == (day, starts, ends):
        return locked
    _roll_anew(locked)
    is_other_day = locked.day != day
    closes = _signup_closes(locked, hours)
    signup_check(locked.signup_opens_at, closes, hours.starts_at)
    session_write(locked, {**vars(hours), "signup_closes_at": closes, "moved_at": moment}, moment)
    moved = ClassSession.objects.select_related("hall").get(pk=session.pk)
    if is_other_day:
        gear_move(by=by, session=moved, now=moment)
    if moved.is_published:
        plan_check(moved)
    return moved


def _roll_anew(session: ClassSession) -> None:
    """A roll that is kept would say on the other day who came, and so who learned something, before anybody did."""
    if SignUp.objects.came().filter(session=session).exists():
        raise ValidationError(_("People came to it already, so it stays on its day. Plan a new one for the other day."))
    SignUp.objects.filter(session=session, came=0).seated().update(came=None)


def _signup_closes(session: ClassSession, hours: Hours) -> datetime:
    """The same hour on the wall, as many days before; a sign-up that ended when the session began still does."""
    if session.signup_closes_at == session.starts_at:
        return hours.starts_at
    zone = ZoneInfo(settings.TIME_ZONE)
    wall = wall_of(session.signup_closes_at, zone)
    closes = moment_near(hours.day - (session.day - wall.date()), wall.time(), zone)
    return min(closes, hours.starts_at)
