"""What is due about class sessions: to who has a seat or is offered one, and to instructors with too few people.

Hours on the wall are the hall's: a week before at 9:00, the day before at 18:00. "Two hours before" is elapsed time. An
offer made by night is told in the morning, which is when its hours begin to count (club/classes/rules.py).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import F, Q, QuerySet, Sum
from django.db.models.functions import Coalesce
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from club.classes.choices import SessionState, SignUpState
from club.classes.models import ClassSession, SignUp, SignUpQuerySet
from club.classes.rules import lapsing_told_at, offer_told_at
from club.reminders import class_mails
from club.reminders.class_mails import CLASS, SEAT
from club.reminders.models import Reminder
from club.reminders.subjects import subject_id
from club.reminders.terms import Rule
from club.reminders.wording import Due

# Our own choices, no source.
WEEK_BEFORE_AT, DAY_BEFORE_AT = time(9, 0), time(18, 0)
STARTING = timedelta(hours=2)
SEAT_NOTED_FOR = timedelta(days=1)
MINIMUM_BEFORE_CLOSING = timedelta(hours=48)

FAR_AHEAD = timedelta(days=1000)

Called = tuple[str, datetime]


@dataclass(frozen=True)
class SeatCall:
    """A rule about sign-ups. `rows(now)`: those that it may mean, in one query.

    `when(signup, now)`: what tells this call from another for the same sign-up, and when it is due; None when there is
    nothing to say (any more).
    """

    rows: Callable[[datetime], SignUpQuerySet]
    when: Callable[[SignUp, datetime], Called | None]

    def due(self, now: datetime) -> Iterator[Due]:
        for signup in self._rows(now):
            called = self.when(signup, now)
            if called is not None and called[1] <= now:
                yield Due(f"{SEAT}{signup.pk}", called[0], signup.person_id, called[1])

    def still_due(self, reminder: Reminder, now: datetime) -> bool:
        signup = self._rows(now).filter(pk=subject_id(reminder), person=reminder.person_id).first()
        called = self.when(signup, now) if signup is not None else None
        return called is not None and called[0] == reminder.occurrence

    def _rows(self, now: datetime) -> SignUpQuerySet:
        return self.rows(now).filter(person__is_active=True).select_related("session").defer("needs")


def _seated(now: datetime, ahead: timedelta) -> SignUpQuerySet:
    """Who has a seat in a session that begins within that time."""
    soon = {"session__starts_at__gt": now, "session__starts_at__lte": now + ahead}
    return SignUp.objects.seated().filter(session__state=SessionState.PUBLISHED, **soon)


def _offered(now: datetime) -> SignUpQuerySet:
    offered = SignUp.objects.filter(state=SignUpState.OFFERED, offer_until__gt=now)
    return offered.filter(session__state=SessionState.PUBLISHED, session__starts_at__gt=now)


def _just_seated(now: datetime) -> SignUpQuerySet:
    return _seated(now, FAR_AHEAD).filter(seated_at__gt=now - SEAT_NOTED_FOR, is_walk_in=False)


def _called_off(now: datetime) -> SignUpQuerySet:
    return SignUp.objects.open().filter(session__state=SessionState.CANCELLED, session__ends_at__gt=now)


def _moved(now: datetime) -> SignUpQuerySet:
    moved = Q(session__state=SessionState.PUBLISHED, session__starts_at__gt=now, joined_at__lt=F("session__moved_at"))
    return SignUp.objects.open().filter(moved)


def _seat_noted(signup: SignUp, now: datetime) -> Called | None:
    return _stamp(signup.seated_at), signup.seated_at or now


def _next_week(signup: SignUp, now: datetime) -> Called | None:
    """Until the evening before, which says it better; nothing to whoever took her seat later than this was due."""
    at = _wall(signup.session, days_before=7, hour=WEEK_BEFORE_AT)
    is_known = signup.seated_at is not None and signup.seated_at > at
    if is_known or now >= _wall(signup.session, days_before=1, hour=DAY_BEFORE_AT):
        return None
    return _stamp(signup.session.starts_at), at


def _tomorrow(signup: SignUp, now: datetime) -> Called | None:
    if now >= signup.session.starts_at - STARTING:
        return None
    return _stamp(signup.session.starts_at), _wall(signup.session, days_before=1, hour=DAY_BEFORE_AT)


def _starting(signup: SignUp, now: datetime) -> Called | None:
    at = signup.session.starts_at.astimezone(UTC) - STARTING
    if signup.seated_at is not None and signup.seated_at > at:
        return None
    return _stamp(signup.session.starts_at), at


def _offer(signup: SignUp, now: datetime) -> Called | None:
    if signup.offered_at is None or signup.offer_until is None:
        return None
    zone = ZoneInfo(signup.session.zone)
    return _stamp(signup.offered_at), offer_told_at(signup.offered_at, signup.offer_until, zone)


def _lapsing(signup: SignUp, now: datetime) -> Called | None:
    if signup.offered_at is None or signup.offer_until is None:
        return None
    zone = ZoneInfo(signup.session.zone)
    return _stamp(signup.offered_at), lapsing_told_at(signup.offered_at, signup.offer_until, zone)


def _cancelled(signup: SignUp, now: datetime) -> Called | None:
    return _stamp(signup.session.cancelled_at), signup.session.cancelled_at or now


def _new_hours(signup: SignUp, now: datetime) -> Called | None:
    return _stamp(signup.session.moved_at), signup.session.moved_at or now


def minimum_due(now: datetime) -> Iterator[Due]:
    """To each instructor, in the 48 hours before sign-up closes, while fewer have a seat than the session needs."""
    for session in _below_minimum(now).prefetch_related("instructors"):
        at = session.signup_closes_at.astimezone(UTC) - MINIMUM_BEFORE_CLOSING
        for person in session.instructors.all():
            if person.is_active:
                yield Due(f"{CLASS}{session.pk}", _stamp(session.signup_closes_at), person.pk, at)


def minimum_still_due(reminder: Reminder, now: datetime) -> bool:
    below = _below_minimum(now).filter(pk=subject_id(reminder), instructors=reminder.person_id)
    session = below.first()
    is_same = session is not None and _stamp(session.signup_closes_at) == reminder.occurrence
    return is_same and reminder.person.is_active


def _below_minimum(now: datetime) -> QuerySet[ClassSession]:
    seated = Coalesce(Sum("signups__places", filter=Q(signups__state=SignUpState.SEATED)), 0)
    closing = {"signup_closes_at__gt": now, "signup_closes_at__lte": now + MINIMUM_BEFORE_CLOSING}
    return ClassSession.objects.published().filter(**closing).alias(n=seated).filter(n__lt=F("minimum_people"))


def words(subjects: Iterable[str]) -> dict[str, str | Promise]:
    """The title of the session that each subject of this family is about; two queries, however many."""
    wanted = list(subjects)
    seats, sessions = (
        [int(one.removeprefix(kind)) for one in wanted if one.startswith(kind)] for kind in (SEAT, CLASS)
    )
    of_seats = SignUp.objects.filter(pk__in=seats).values_list("pk", "session__title")
    of_sessions = ClassSession.objects.filter(pk__in=sessions).values_list("pk", "title")
    return {**{f"{SEAT}{pk}": one for pk, one in of_seats}, **{f"{CLASS}{pk}": one for pk, one in of_sessions}}


def _wall(session: ClassSession, *, days_before: int, hour: time) -> datetime:
    """That hour on the wall of the hall, so many days before the session, in UTC."""
    day = session.day - timedelta(days=days_before)
    return datetime.combine(day, hour, ZoneInfo(session.zone)).astimezone(UTC)


def _stamp(moment: datetime | None) -> str:
    return moment.astimezone(UTC).isoformat() if moment is not None else ""


def _rule(
    name: str,
    title: Promise,
    call: SeatCall,
    message: class_mails.Mail,
    *,
    may_mute: bool = True,
    may_wait: bool = True,
) -> Rule:
    return Rule(name, title, call.due, call.still_due, message, may_mute=may_mute, may_wait=may_wait)


# How far ahead a session may begin for a rule to look at its seats.
EIGHT_DAYS, TWO_DAYS = timedelta(days=8), timedelta(days=2)
# `may_wait`: what says "tomorrow" or "until ten" is wrong after somebody's quiet hours, and worse in a weekly digest.
# `may_mute`: whoever joins a line is told of her turn, as others wait for her answer; a session that does not take
# place as it was told is said to everybody.
RULES: tuple[Rule, ...] = (
    _rule("class-seat", _("you have a seat"), SeatCall(_just_seated, _seat_noted), class_mails.seat_message),
    _rule(
        "class-week",
        _("class next week"),
        SeatCall(lambda now: _seated(now, EIGHT_DAYS), _next_week),
        class_mails.week_message,
    ),
    _rule(
        "class-tomorrow",
        _("class tomorrow"),
        SeatCall(lambda now: _seated(now, TWO_DAYS), _tomorrow),
        class_mails.tomorrow_message,
        may_wait=False,
    ),
    _rule(
        "class-starting",
        _("class in two hours"),
        SeatCall(lambda now: _seated(now, STARTING), _starting),
        class_mails.starting_message,
        may_wait=False,
    ),
    _rule(
        "seat-offered",
        _("a seat is offered to you"),
        SeatCall(_offered, _offer),
        class_mails.offered_message,
        may_wait=False,
        may_mute=False,
    ),
    _rule(
        "seat-lapsing",
        _("an offered seat moves on soon"),
        SeatCall(_offered, _lapsing),
        class_mails.lapsing_message,
        may_wait=False,
    ),
    Rule(
        "class-minimum",
        _("too few people for a class"),
        minimum_due,
        minimum_still_due,
        class_mails.minimum_message,
        may_wait=False,
    ),
    _rule(
        "class-cancelled",
        _("a class does not take place"),
        SeatCall(_called_off, _cancelled),
        class_mails.cancelled_message,
        may_wait=False,
        may_mute=False,
    ),
    _rule(
        "class-moved",
        _("a class has other hours"),
        SeatCall(_moved, _new_hours),
        class_mails.moved_message,
        may_wait=False,
        may_mute=False,
    ),
)
