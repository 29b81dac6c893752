"""What the writes of a plan share: who may, the lock on a session's row, and text as it is kept."""

from __future__ import annotations

from collections.abc import Sequence

from django.core.exceptions import PermissionDenied, ValidationError
from django.db.models import F
from django.utils.translation import gettext as _

from club.classes.models import ClassSession
from club.classes.queries import PLAN
from club.classes.words import SessionState
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
    told = "\n".join(" ".join(line.split()) for line in text.replace("\0", "").strip().splitlines())
    if needed and not told:
        raise ValidationError({field: _("Write something here.")})
    if len(told) > longest:
        raise ValidationError({field: _("At most %(n)s characters.") % {"n": longest}})
    return told
