"""What is due about class sessions: to who has a seat or is offered one, to instructors with too few people, about a
note to instructors, and thanks afterwards.

Hours on the wall are the hall's: a week before at 9:00, the day before at 18:00. "Two hours before" is elapsed time. An
offer made by night is told in the morning, which is when its hours begin to count (club/classes/rules.py).
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Sum
from django.db.models.functions import Coalesce
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format, time_format
from django.utils.translation import gettext_lazy as _

from club.classes.choices import SessionState, SignUpState
from club.classes.models import ClassSession, SignUp, SignUpQuerySet
from club.classes.rules import lapsing_notice_at, offer_notice_at
from club.classes.services import seat_path
from club.core.clock import in_utc, moment_near
from club.members.models import User
from club.reminders.models import Reminder
from club.reminders.rules import AnyRule, Rule, format_day, stamp
from inventory.batches.choices import BatchState

# Our own choices, no source.
WEEK_BEFORE_AT, DAY_BEFORE_AT = time(9), time(18)
STARTING = timedelta(hours=2)
SEAT_NOTED_FOR = timedelta(days=1)
MINIMUM_BEFORE_CLOSING = timedelta(hours=48)
TOO_LATE_TO_THANK = timedelta(days=7)  # thanks that come later than this look like an error

# How far ahead a session may begin for a rule to look at its seats.
FAR_AHEAD, EIGHT_DAYS, TWO_DAYS = timedelta(days=1000), timedelta(days=8), timedelta(days=2)


class SignUpRule(Rule[SignUp]):
    """About one sign-up, to its person; read without what they wrote to the instructors.

    `may_wait` of the rules below: what says "tomorrow" or "until ten" is wrong after somebody's quiet hours, and worse
    in a weekly digest. `may_mute`: whoever joins a line is told of their turn, as others wait for the answer; a session
    that does not take place as it was told is said to everybody.
    """

    prefix = "seat:"
    model = SignUp
    subject_field = "session__title"
    person_field = "person"

    def sign_ups(self, now: datetime) -> SignUpQuerySet:
        """Those that the rule may mean."""
        raise NotImplementedError

    def due_rows(self, now: datetime) -> SignUpQuerySet:
        return self.sign_ups(now).filter(person__is_active=True).select_related("session").defer("needs")

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        sign_up = SignUp.objects.select_related("session__hall").defer("needs").get(pk=reminder.subject_id)
        context = {
            **_session_context(sign_up.session),
            "sign_up": sign_up,
            "until": _format_moment(sign_up.offer_until) if sign_up.offer_until else "",
        }
        return seat_path(sign_up.pk), context


def _session_context(session: ClassSession) -> dict[str, Any]:
    return {
        "session": session,
        "day": format_day(session.day),
        "hour": time_format(session.starts, "H:i"),
        "end": time_format(session.ends, "H:i"),
    }


def _format_moment(moment: datetime) -> str:
    return date_format(timezone.localtime(moment), "l j F, H:i")


def _seated(now: datetime, ahead: timedelta) -> SignUpQuerySet:
    """Who has a seat in a session that begins within that time."""
    soon = {"session__starts_at__gt": now, "session__starts_at__lte": now + ahead}
    return SignUp.objects.seated().filter(session__state=SessionState.PUBLISHED, **soon)


def _wall(session: ClassSession, *, days_before: int, hour: time) -> datetime:
    """That hour on the wall of the hall, so many days before the session, in UTC."""
    return moment_near(session.day - timedelta(days=days_before), hour, ZoneInfo(session.zone))


class SeatTaken(SignUpRule):
    name = "class-seat"
    title = _("you have a seat")

    def sign_ups(self, now: datetime) -> SignUpQuerySet:
        return _seated(now, FAR_AHEAD).filter(seated_at__gt=now - SEAT_NOTED_FOR, is_walk_in=False)

    def occurrence(self, sign_up: SignUp, now: datetime) -> str:
        return stamp(sign_up.seated_at)

    def due_at(self, sign_up: SignUp, now: datetime) -> datetime:
        return sign_up.seated_at or now


class UpcomingRule(SignUpRule):
    """To who has a seat, once for each hour at which the session was to begin."""

    def occurrence(self, sign_up: SignUp, now: datetime) -> str:
        return stamp(sign_up.session.starts_at)


class ClassNextWeek(UpcomingRule):
    """Until the evening before, which says it better; nothing to whoever took their seat later than this was due."""

    name = "class-week"
    title = _("class next week")

    def sign_ups(self, now: datetime) -> SignUpQuerySet:
        return _seated(now, EIGHT_DAYS)

    def occurrence(self, sign_up: SignUp, now: datetime) -> str:
        is_known = sign_up.seated_at is not None and sign_up.seated_at > self.due_at(sign_up, now)
        if is_known or now >= _wall(sign_up.session, days_before=1, hour=DAY_BEFORE_AT):
            return ""
        return super().occurrence(sign_up, now)

    def due_at(self, sign_up: SignUp, now: datetime) -> datetime:
        return _wall(sign_up.session, days_before=7, hour=WEEK_BEFORE_AT)


class ClassTomorrow(UpcomingRule):
    """Until the last two hours, when the next rule says it."""

    name = "class-tomorrow"
    title = _("class tomorrow")
    may_wait = False

    def sign_ups(self, now: datetime) -> SignUpQuerySet:
        return _seated(now, TWO_DAYS)

    def occurrence(self, sign_up: SignUp, now: datetime) -> str:
        return "" if now >= sign_up.session.starts_at - STARTING else super().occurrence(sign_up, now)

    def due_at(self, sign_up: SignUp, now: datetime) -> datetime:
        return _wall(sign_up.session, days_before=1, hour=DAY_BEFORE_AT)

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        path, context = super().mail(reminder, now)
        is_today = timezone.localdate(now) == context["session"].day  # it may have waited for a mail server
        return path, {**context, "is_today": is_today}


class ClassStarting(UpcomingRule):
    """Two hours before; nothing to whoever took their seat since."""

    name = "class-starting"
    title = _("class in two hours")
    may_wait = False

    def sign_ups(self, now: datetime) -> SignUpQuerySet:
        return _seated(now, STARTING)

    def occurrence(self, sign_up: SignUp, now: datetime) -> str:
        is_known = sign_up.seated_at is not None and sign_up.seated_at > self.due_at(sign_up, now)
        return "" if is_known else super().occurrence(sign_up, now)

    def due_at(self, sign_up: SignUp, now: datetime) -> datetime:
        return in_utc(sign_up.session.starts_at) - STARTING


class OfferRule(SignUpRule):
    """To who is offered a seat."""

    may_wait = False

    def sign_ups(self, now: datetime) -> SignUpQuerySet:
        offered = SignUp.objects.filter(state=SignUpState.OFFERED, offered_at__isnull=False, offer_until__gt=now)
        return offered.filter(session__state=SessionState.PUBLISHED, session__starts_at__gt=now)

    def occurrence(self, sign_up: SignUp, now: datetime) -> str:
        return stamp(sign_up.offered_at)


class SeatOffered(OfferRule):
    name = "seat-offered"
    title = _("a seat is offered to you")
    may_mute = False

    def due_at(self, sign_up: SignUp, now: datetime) -> datetime:
        assert sign_up.offered_at is not None
        assert sign_up.offer_until is not None
        return offer_notice_at(sign_up.offered_at, sign_up.offer_until, ZoneInfo(sign_up.session.zone))


class SeatLapsing(OfferRule):
    name = "seat-lapsing"
    title = _("an offered seat moves on soon")

    def due_at(self, sign_up: SignUp, now: datetime) -> datetime:
        assert sign_up.offered_at is not None
        assert sign_up.offer_until is not None
        return lapsing_notice_at(sign_up.offered_at, sign_up.offer_until, ZoneInfo(sign_up.session.zone))


class ClassBelowMinimum(Rule[ClassSession]):
    """To each instructor, in the 48 hours before sign-up closes, while fewer have a seat than the session needs."""

    name = "class-minimum"
    title = _("too few people for a class")
    prefix = "class:"
    model = ClassSession
    subject_field = "title"
    may_wait = False

    def due_rows(self, now: datetime) -> QuerySet[ClassSession]:
        return self.open_rows(now).prefetch_related("instructors")

    def open_rows(self, now: datetime) -> QuerySet[ClassSession]:
        seated = Coalesce(Sum("signups__places", filter=Q(signups__state=SignUpState.SEATED)), 0)
        closing = {"signup_closes_at__gt": now, "signup_closes_at__lte": now + MINIMUM_BEFORE_CLOSING}
        return ClassSession.objects.published().filter(**closing).alias(n=seated).filter(n__lt=F("minimum_people"))

    def recipients(self, session: ClassSession) -> Iterable[int]:
        return [person.pk for person in session.instructors.all() if person.is_active]

    def occurrence(self, session: ClassSession, now: datetime) -> str:
        return stamp(session.signup_closes_at)

    def due_at(self, session: ClassSession, now: datetime) -> datetime:
        return in_utc(session.signup_closes_at) - MINIMUM_BEFORE_CLOSING

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        session = ClassSession.objects.select_related("hall").get(pk=reminder.subject_id)
        context = {
            **_session_context(session),
            "seated": SignUp.objects.seated().filter(session=session).aggregate(n=Sum("places"))["n"] or 0,
            "closes": _format_moment(session.signup_closes_at),
        }
        return session.get_absolute_url(), context


class ClassCancelled(SignUpRule):
    name = "class-cancelled"
    title = _("a class does not take place")
    may_wait = False
    may_mute = False

    def sign_ups(self, now: datetime) -> SignUpQuerySet:
        return SignUp.objects.open().filter(session__state=SessionState.CANCELLED, session__ends_at__gt=now)

    def occurrence(self, sign_up: SignUp, now: datetime) -> str:
        return stamp(sign_up.session.cancelled_at)

    def due_at(self, sign_up: SignUp, now: datetime) -> datetime:
        return sign_up.session.cancelled_at or now


class ClassMoved(SignUpRule):
    name = "class-moved"
    title = _("a class has other hours")
    may_wait = False
    may_mute = False

    def sign_ups(self, now: datetime) -> SignUpQuerySet:
        coming = SignUp.objects.open().filter(session__state=SessionState.PUBLISHED, session__starts_at__gt=now)
        return coming.filter(joined_at__lt=F("session__moved_at"))

    def occurrence(self, sign_up: SignUp, now: datetime) -> str:
        return stamp(sign_up.session.moved_at)

    def due_at(self, sign_up: SignUp, now: datetime) -> datetime:
        return sign_up.session.moved_at or now


class NoteForNewInstructor(Rule[SignUp]):
    """Somebody came to teach a session after a student wrote to its instructors: the student is asked before it is
    read. At once, for each instructor who does not read what was written; until the session begins.
    """

    name = "class-note"
    title = _("a new instructor, and your note")
    prefix = "class-note:"
    model = SignUp
    subject_field = "session__title"
    person_field = "person"

    def due_rows(self, now: datetime) -> SignUpQuerySet:
        """A sign-up for each active instructor for whom what it wrote was not written; their key is `teacher`."""
        wrote = SignUp.objects.open().exclude(needs="").filter(person__is_active=True)
        coming = {"session__state": SessionState.PUBLISHED, "session__starts_at__gt": now}
        taught = wrote.filter(**coming, session__instructors__is_active=True).annotate(
            teacher=F("session__instructors")
        )
        meant = SignUp.needs_for.through.objects.filter(signup=OuterRef("pk"), user=OuterRef("teacher"))
        return taught.filter(~Exists(meant)).order_by().defer("needs")

    def open_row(self, reminder: Reminder, now: datetime) -> SignUp | None:
        """Neither sent again nor emptied since, and that instructor teaches it still."""
        rows = self.due_rows(now).filter(pk=reminder.subject_id)
        return next((row for row in rows if self.occurrence(row, now) == reminder.occurrence), None)

    def occurrence(self, sign_up: SignUp, now: datetime) -> str:
        return str(sign_up.teacher)  # type: ignore[attr-defined]

    def due_at(self, sign_up: SignUp, now: datetime) -> datetime:
        return now

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        sign_up = SignUp.objects.select_related("session").defer("needs").get(pk=reminder.subject_id)
        teacher = User.objects.get(pk=int(reminder.occurrence))
        context = {"session": sign_up.session, "day": format_day(sign_up.session.day), "teacher": teacher}
        return reverse("classes:notes", args=[sign_up.pk]), context


class ClassThanks(Rule[SignUp]):
    """Thanks to everybody who came to a session, with the way to the handout; within a week after it was closed.

    The handout is a page behind the sign-in, which also gives it as a PDF: a mail carries no attachment, so that a
    letter that went astray shows nobody's kitchens.
    """

    name = "class-thanks"
    title = _("thank you, and the handout")
    prefix = "class-thanks:"
    model = SignUp
    subject_field = "session__title"
    person_field = "person"
    after_lost_lease = "hold"

    def due_rows(self, now: datetime) -> SignUpQuerySet:
        return self.open_rows(now).filter(session__held_at__lte=now, person__is_active=True)

    def open_rows(self, now: datetime) -> SignUpQuerySet:
        held = {"session__state": SessionState.HELD, "session__held_at__gt": in_utc(now) - TOO_LATE_TO_THANK}
        return SignUp.objects.came().filter(**held).select_related("session").defer("needs")

    def occurrence(self, sign_up: SignUp, now: datetime) -> str:
        return stamp(sign_up.session.held_at)

    def due_at(self, sign_up: SignUp, now: datetime) -> datetime:
        assert sign_up.session.held_at is not None  # what is not, is not later than anything
        return in_utc(sign_up.session.held_at)

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        sign_ups = SignUp.objects.select_related("session", "station__cooking__batch").defer("needs")
        sign_up = sign_ups.get(pk=reminder.subject_id)
        cooking = getattr(sign_up.station, "cooking", None)
        batch = cooking.batch if cooking is not None and cooking.batch.state != BatchState.ABANDONED else None
        context = {
            "session": sign_up.session,
            "day": format_day(sign_up.session.day),
            "batch": batch,
            "is_taker": batch is not None and batch.made_by_id == sign_up.person_id,
        }
        return reverse("classes:handout", args=[sign_up.pk]), context


RULES: tuple[AnyRule, ...] = (
    SeatTaken(),
    ClassNextWeek(),
    ClassTomorrow(),
    ClassStarting(),
    SeatOffered(),
    SeatLapsing(),
    ClassBelowMinimum(),
    ClassCancelled(),
    ClassMoved(),
    NoteForNewInstructor(),
    ClassThanks(),
)
