"""Signing up for a session, giving a seat up, and the waiting list."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

from django.core import signing
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import F, Max, OuterRef, Q, Subquery, Sum
from django.db.models.functions import Coalesce
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club.classes.choices import OPEN_STATES, SEAT_STATES, SessionState, SignUpState
from club.classes.models import COMPANION_LENGTH, NEEDS_LENGTH, ClassSession, SignUp, teaches
from club.classes.rules import MOST_PLACES, Hours, Waiter, next_in_line, offer_until, singles_may_pass
from club.classes.services.notes import needs_check, needs_written
from club.core.clock import now_or
from club.core.errors import AlreadyDone
from club.core.jobs import one_by_one
from club.core.text import first_name, plain
from club.members.models import User

# The link in a mail about a seat: the sign-up's own number, signed. It opens that one sign-up, and signs nobody in.

SALT = "kettlehall.class-seat"


def seat_token(signup_id: int) -> str:
    return signing.Signer(salt=SALT).sign(str(signup_id))


def seat_path(signup_id: int) -> str:
    """The public page of a sign-up: what it is for, and a button to give it up or to answer an offer."""
    return reverse("classes:by-mail", args=[seat_token(signup_id)])


def signup_for_token(token: str) -> SignUp | None:
    """The sign-up that the link names, without what was written in `needs`; None for a link that is not ours, and
    once its person has left the club.
    """
    try:
        key = int(signing.Signer(salt=SALT).unsign(token))
    except (signing.BadSignature, ValueError):
        return None
    return (
        SignUp.objects.select_related("session__hall", "person")
        .defer("needs")
        .filter(pk=key, person__is_active=True)
        .first()
    )


# The line of a session: what comes free is offered in order, offers lapse, and the clock moves it on.
#
# Whatever changes the seats of a session first locks them: an UPDATE of the session's row, which holds back every
# other such write at that session until the transaction ends, on PostgreSQL (the row's lock) and on SQLite (the one
# writer). Freeing a seat and offering it on is therefore one step to anybody else: no sign-up comes in between.


@dataclass(frozen=True)
class SeatsMoved:
    """What one round did: offers that lapsed, seats given back for people who left the club, new offers."""

    lapsed: int = 0
    left: int = 0
    offered: int = 0


@transaction.atomic
def seat_accept(*, by: User, signup: SignUp, now: datetime | None = None) -> SignUp:
    """Take the seat that is offered. Twice is the same as once; AlreadyDone when the offer has moved on.

    ValidationError once the session has begun.
    """
    if by.pk != signup.person_id or not by.is_active:
        raise PermissionDenied
    session, moment = seats_lock(signup.session_id), now_or(now)
    if not session.is_published:
        raise AlreadyDone(_("This session does not take place any more."))
    begun_check(session, moment)
    offered = SignUp.objects.filter(pk=signup.pk, state=SignUpState.OFFERED, offer_until__gt=moment)
    offered.update(state=SignUpState.SEATED, seated_at=moment)
    signup.refresh_from_db()
    if signup.state != SignUpState.SEATED:
        raise AlreadyDone(_("This offer has moved on to the next in line. You can sign up again and wait."))
    return signup


def seats_move_on(now: datetime) -> SeatsMoved:
    """Everything the clock does to the seats. Run as often as one likes, in as many processes as one likes.

    1. Offers whose time is over lapse. 2. People who left the club give their seats back. 3. What is free is offered
    in the order of the line. Each session is a transaction of its own: one that breaks does not hold up the others; its
    error is raised when all were asked.
    """
    moment = now_or(now)
    rounds = one_by_one(_sessions_to_move(moment), lambda session_id: _session_move_on(session_id, moment))
    return SeatsMoved(
        lapsed=sum(one.lapsed for one in rounds),
        left=sum(one.left for one in rounds),
        offered=sum(one.offered for one in rounds),
    )


def seats_lock(session_id: int) -> ClassSession:
    """Lock this session's seats until the caller's transaction ends; the session as it is now.

    The UPDATE changes nothing. It has to be the first statement that touches the session or its sign-ups.
    """
    ClassSession.objects.filter(pk=session_id).update(seats_taken=F("seats_taken"))
    return ClassSession.objects.get(pk=session_id)


def begun_check(session: ClassSession, moment: datetime) -> None:
    if moment >= session.starts_at:
        text = _("This session has begun, so nothing can be changed here. Please tell the instructor.")
        raise ValidationError(text)


def seats_take(session_id: int, places: int) -> bool:
    """Count so many more seats as taken; False, and none taken, where they are not free. A constraint lies beneath."""
    free = ClassSession.objects.filter(
        pk=session_id, state=SessionState.PUBLISHED, seats_taken__lte=F("seats_total") - places
    )
    return free.update(seats_taken=F("seats_taken") + places) == 1


def seats_give_back(session_id: int, places: int) -> None:
    ClassSession.objects.filter(pk=session_id).update(seats_taken=F("seats_taken") - places)


def line_fill(session: ClassSession, moment: datetime, *, arriving: SignUp | None = None) -> int:
    """Give what is free to whoever the rule names, under the caller's lock; how many were offered a seat.

    Whoever is signing up this very moment (`arriving`) is there to take the seat: seated, not offered.
    """
    session.refresh_from_db(fields=["seats_taken", "seats_total", "state"])
    if not session.is_published or session.seats_left <= 0:
        return 0
    hours = Hours(session.starts_at, session.signup_closes_at, ZoneInfo(session.zone))
    until, offered = offer_until(moment, hours), 0
    line = SignUp.objects.waiting().filter(session=session, person__is_active=True).values_list("pk", "places")
    may_pass = singles_may_pass(moment, hours)
    for one in next_in_line([Waiter(*row) for row in line], session.seats_left, singles_may_pass=may_pass):
        if arriving is not None and one.key == arriving.pk:
            _give(session, one, state=SignUpState.SEATED, seated_at=moment)
        elif until is None:
            break  # too late to ask somebody: nor may anybody pass who stands behind
        else:
            offered += _give(session, one, state=SignUpState.OFFERED, offered_at=moment, offer_until=until)
    return offered


def _give(session: ClassSession, waiter: Waiter, **columns: object) -> bool:
    if not seats_take(session.pk, waiter.places):
        return False
    SignUp.objects.filter(pk=waiter.key, state=SignUpState.WAITING).update(**columns)
    return True


def _sessions_to_move(moment: datetime) -> list[int]:
    """Where an offer is over, somebody left the club, or seats are free and somebody waits."""
    coming = Q(session__state=SessionState.PUBLISHED, session__starts_at__gt=moment)
    over = Q(state=SignUpState.OFFERED) & (Q(offer_until__lte=moment) | Q(session__starts_at__lte=moment))
    gone = coming & Q(state__in=OPEN_STATES, person__is_active=False)
    free = coming & Q(state=SignUpState.WAITING, session__seats_taken__lt=F("session__seats_total"))
    found = SignUp.objects.filter(over | gone | free).order_by("session_id")
    return list(found.values_list("session_id", flat=True).distinct())


@transaction.atomic
def _session_move_on(session_id: int, moment: datetime) -> SeatsMoved:
    session = seats_lock(session_id)
    signups = SignUp.objects.filter(session=session)
    over = signups.filter(state=SignUpState.OFFERED)
    if session.starts_at > moment:  # else every offer is over: it may have been made before the session was moved
        over = over.filter(offer_until__lte=moment)
    gone = signups.filter(state__in=OPEN_STATES, person__is_active=False, session__starts_at__gt=moment)
    lapsed = sum(signup_close(one, SignUpState.LAPSED, moment) for one in over)
    left = sum(signup_close(one, SignUpState.CANCELLED, moment) for one in gone)
    return SeatsMoved(lapsed, left, line_fill(session, moment))


def signup_close(signup: SignUp, state: SignUpState, moment: datetime) -> bool:
    """Cancelled or lapsed, its seats given back, under the caller's lock; False when it was closed before.

    What was written about allergies and access has done its work and is not kept.
    """
    same = SignUp.objects.filter(pk=signup.pk)
    places = same.values_list("places", flat=True).get()
    columns = {"state": state, "closed_at": moment, "needs": ""}
    if same.filter(state__in=SEAT_STATES).update(**columns) == 1:
        seats_give_back(signup.session_id, places)
        return True
    return same.filter(state=SignUpState.WAITING).update(**columns) == 1


# Signing up for a session, changing one's sign-up, and giving it up. The line is above.

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

    1. What was written must make sense. 2. With the session's seats locked: the same token finds what it made the
    first time; sign-up must be open; one open sign-up each. 3. It goes to the end of the line, whatever the clock of
    this machine says, and 4. the line is served: whoever signs up is seated only if the rule reaches them.
    `named` are the instructors who were named to the person beside `needs`, by key: nobody else reads it.
    Raises PermissionDenied, ValidationError (places, companion, needs), AlreadyDone for a second sign-up.
    """
    if not by.is_active:
        raise PermissionDenied
    columns = _party(places, companion, needs)
    token = token or uuid4()
    try:
        with transaction.atomic():
            return _sign_up(by, session.pk, columns, named, token, now)
    except IntegrityError:  # the token made something else, or a row came in without the lock
        raise AlreadyDone(_("You are signed up already.")) from None


def _sign_up(
    by: User,
    session_id: int,
    columns: dict[str, object],
    named: Collection[int] | None,
    token: UUID,
    now: datetime | None,
) -> SignUp:
    session, moment = seats_lock(session_id), now_or(now)
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
        **columns,
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
    session, moment = seats_lock(signup.session_id), now_or(now)
    begun_check(session, moment)
    if signup_close(signup, SignUpState.CANCELLED, moment):
        line_fill(session, moment)
    signup.refresh_from_db()
    return signup


@transaction.atomic
def signup_come_alone(*, by: User, signup: SignUp, now: datetime | None = None) -> SignUp:
    """The companion stays at home: the party of two becomes one, and keeps its seat or its place in the line."""
    _own(by, signup)
    session, moment = seats_lock(signup.session_id), now_or(now)
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
    session, moment = seats_lock(signup.session_id), now_or(now)
    begun_check(session, moment)
    signup.refresh_from_db()
    columns = _party(signup.places, companion, needs)
    if SignUp.objects.filter(pk=signup.pk, state__in=OPEN_STATES).update(**columns) != 1:
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
    name = first_name(plain(companion, field="companion", longest=COMPANION_LENGTH))
    if places == MOST_PLACES and not name:
        raise ValidationError({"companion": _("Who comes along? Give a name.")})
    if places == 1 and name:
        raise ValidationError({"companion": _("You chose one place. Choose two, or leave this empty.")})
    notes = needs.replace("\0", "").strip()
    if len(notes) > NEEDS_LENGTH:
        raise ValidationError({"needs": _("At most %(n)s characters.") % {"n": NEEDS_LENGTH}})
    needs_check(notes)
    return {"places": places, "companion": name, "needs": notes}


def seats_audit() -> list[str]:
    """A sentence for each session whose seats taken are not those of its sign-ups."""
    taken = SignUp.objects.filter(session=OuterRef("pk")).holding_seats().order_by().values("session")
    counted = Coalesce(Subquery(taken.annotate(n=Sum("places")).values("n")), 0)
    wrong = ClassSession.objects.annotate(counted=counted).exclude(seats_taken=F("counted")).order_by("pk")
    return [
        f"session {pk}: {kept} seats taken kept, {counted} by the sign-ups"
        for pk, kept, counted in wrong.values_list("pk", "seats_taken", "counted")
    ]
