"""Signing up for a session, changing one's sign-up, and giving it up. See waiting.py for the line."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from uuid import UUID, uuid4

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club.classes.models import ClassSession, SignUp
from club.classes.needs import needs_written, teaches
from club.classes.seat_rules import MOST_PLACES
from club.classes.services.waiting import begun_check, line_fill, seats_give_back, session_turn, signup_close
from club.classes.words import OPEN_STATES, SEAT_STATES, SessionState, SignUpState
from club.core.errors import AlreadyDone
from club.members.models import User
from inventory.equipment.services.common import now_or
from inventory.equipment.text import plain

COMPANION_LENGTH = 120
NEEDS_LENGTH = 1000
TEACHES = gettext_lazy("You teach this session: its seats are for those who learn.")


def signup_place(
    *,
    by: User,
    session: ClassSession,
    places: int = 1,
    companion: str = "",
    needs: str = "",
    named: Collection[int] | None = None,
    token: UUID | None = None,
    now: datetime | None = None,
) -> SignUp:
    """Sign up alone, or as a party of two with the companion's name. Seated where it is one's turn, else waiting.

    1. What was written must make sense. 2. In a turn at the session's seats: the same token finds what it made the
    first time; sign-up must be open; one open sign-up each. 3. It goes to the end of the line, whatever the clock of
    this machine says, and 4. the line is served: whoever signs up is seated only if the rule reaches her.
    `named` are the instructors who were named to the person beside `needs`, by key: nobody else reads it.
    Raises PermissionDenied, ValidationError (places, companion, needs), AlreadyDone for a second sign-up.
    """
    if not by.is_active:
        raise PermissionDenied
    told = _party(places, companion, needs)
    token = token or uuid4()
    try:
        with transaction.atomic():
            return _sign_up(by, session.pk, told, named, token, now)
    except IntegrityError:  # the token made something else, or a row came in without its turn
        raise AlreadyDone(_("You are signed up already.")) from None


def _sign_up(
    by: User,
    session_id: int,
    told: dict[str, object],
    named: Collection[int] | None,
    token: UUID,
    now: datetime | None,
) -> SignUp:
    session, moment = session_turn(session_id), now_or(now)
    made = SignUp.objects.filter(token=token, person=by, session=session).first()
    if made is not None:
        return made
    open_check(session, moment)
    if teaches(by, session):
        raise ValidationError(TEACHES)
    if SignUp.objects.open().filter(session=session, person=by).exists():
        raise AlreadyDone(_("You are signed up already."))
    last = SignUp.objects.waiting().filter(session=session).aggregate(at=Max("joined_at"))["at"]
    signup = SignUp.objects.create(
        session=session,
        person=by,
        token=token,
        state=SignUpState.WAITING,
        joined_at=max(moment, last or moment),
        **told,
    )
    needs_written(signup, named=named)
    line_fill(session, moment, arriving=signup)
    signup.refresh_from_db()
    return signup


@transaction.atomic
def signup_cancel(*, by: User, signup: SignUp, now: datetime | None = None) -> SignUp:
    """Give up a seat, decline an offer, or leave the line; what comes free is offered on at once.

    By the person, or by whoever runs the session. Twice is the same as once. ValidationError once it has begun.
    """
    if by.pk != signup.person_id and not ClassSession.objects.run_by(by).filter(pk=signup.session_id).exists():
        raise PermissionDenied
    session, moment = session_turn(signup.session_id), now_or(now)
    begun_check(session, moment)
    if signup_close(signup, SignUpState.CANCELLED, moment):
        line_fill(session, moment)
    signup.refresh_from_db()
    return signup


@transaction.atomic
def signup_come_alone(*, by: User, signup: SignUp, now: datetime | None = None) -> SignUp:
    """The companion stays at home: the party of two becomes one, and keeps its seat or its place in the line."""
    _own(by, signup)
    session, moment = session_turn(signup.session_id), now_or(now)
    begun_check(session, moment)
    pair = SignUp.objects.filter(pk=signup.pk, places=2)
    if pair.filter(state__in=SEAT_STATES).update(places=1, companion="") == 1:
        seats_give_back(session.pk, 1)
    else:
        pair.filter(state=SignUpState.WAITING).update(places=1, companion="")
    line_fill(session, moment)
    signup.refresh_from_db()
    return signup


@transaction.atomic
def signup_note(
    *,
    by: User,
    signup: SignUp,
    needs: str,
    companion: str = "",
    named: Collection[int] | None = None,
    now: datetime | None = None,
) -> SignUp:
    """Write anew what the instructors have to know, and who comes along. Those who teach it now and are `named` read
    it, also where it is what was there before.
    """
    _own(by, signup)
    session, moment = session_turn(signup.session_id), now_or(now)
    begun_check(session, moment)
    signup.refresh_from_db()
    told = _party(signup.places, companion, needs)
    if SignUp.objects.filter(pk=signup.pk, state__in=OPEN_STATES).update(**told) != 1:
        raise AlreadyDone(_("You are not signed up any more."))
    signup.refresh_from_db()
    needs_written(signup, named=named)
    return signup


def open_check(session: ClassSession, moment: datetime) -> None:
    """ValidationError with the reason why nobody can sign up (yet, or any more)."""
    if session.signup_is_open(moment) and moment < session.starts_at:
        return
    if session.state == SessionState.CANCELLED:
        raise ValidationError(_("This session was cancelled."))
    if not session.is_published:
        raise ValidationError(_("This session takes no sign-ups."))
    if moment < session.signup_opens_at:
        opens = date_format(timezone.localtime(session.signup_opens_at), "D j M, H:i")
        raise ValidationError(_("Sign-up opens on %(when)s.") % {"when": opens})
    raise ValidationError(_("Sign-up is closed. Ask the instructor whether you can still come."))


def _own(by: User, signup: SignUp) -> None:
    if by.pk != signup.person_id:
        raise PermissionDenied


def _party(places: int, companion: str, needs: str) -> dict[str, object]:
    """The columns of a sign-up that a person writes. ValidationError by field."""
    if not 1 <= places <= MOST_PLACES:
        raise ValidationError({"places": _("Come alone or as two.")})
    name = plain(companion, field="companion", longest=COMPANION_LENGTH)
    if places == MOST_PLACES and not name:
        raise ValidationError({"companion": _("Who comes along? Give a name.")})
    if places == 1 and name:
        raise ValidationError({"companion": _("You chose one place. Choose two, or leave this empty.")})
    notes = needs.replace("\0", "").strip()
    if len(notes) > NEEDS_LENGTH:
        raise ValidationError({"needs": _("At most %(n)s characters.") % {"n": NEEDS_LENGTH}})
    return {"places": places, "companion": name, "needs": notes}
