"""What is due about things lent: tests of gauges and meters to keepers, loans to whoever has them, offers in a line.

A lent thing's reminders go out at an hour on the wall of the club: the day before it is due at 18:00, the day after
at 9:00 and then each week. A gauge's go out a month and a week before its test lapses.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime, time, timedelta

from django.utils import timezone
from django.utils.functional import Promise

from club.members.models import User
from club.members.roles import Role
from club.reminders.models import Reminder
from club.reminders.wording import Due
from inventory.equipment.models import InstrumentTest, Loan, Thing, WaitingEntry
from inventory.equipment.queries import club_day
from inventory.equipment.rules import MONTH_BEFORE, WEEK_BEFORE
from inventory.equipment.words import WaitState

THING, LOAN, OFFER = "thing:", "loan:", "wait:"
CALLS = {"month": MONTH_BEFORE, "week": WEEK_BEFORE}
DAY_BEFORE_AT = time(18, 0)
DAY_AFTER_AT = time(9, 0)
# Our own choices, no source: after three weekly calls a mail no longer helps, somebody telephones.
OVERDUE_CALLS = 4


def gauge_due(now: datetime) -> Iterator[Due]:
    """To every keeper, for every instrument whose test is good still but lapses within the month or the week."""
    today = club_day(now)
    lapsing = Thing.objects.all().tests_lapsing(today, today + MONTH_BEFORE)
    keepers = list(User.objects.get_queryset().holding(Role.KEEPER).values_list("pk", flat=True)) if lapsing else []
    for thing_id, lapses in lapsing:
        call = "week" if lapses - today <= WEEK_BEFORE else "month"
        due_at = _at(lapses - CALLS[call], DAY_AFTER_AT)
        if due_at <= now:
            for keeper in keepers:
                yield Due(f"{THING}{thing_id}", f"{lapses}:{call}", keeper, due_at)


def gauge_still_due(reminder: Reminder, now: datetime) -> bool:
    """No newer test, the thing not retired, the person a keeper still."""
    lapses, _, _call = reminder.occurrence.partition(":")
    today = club_day(now)
    last = InstrumentTest.objects.filter(thing=subject_id(reminder)).order_by("-tested_on", "-pk").first()
    is_lent = Thing.objects.filter(pk=subject_id(reminder)).exclude(state="retired").exists()
    is_same = last is not None and str(last.lapses_on) == lapses and last.lapses_on > today
    keeps = reminder.person.is_active and reminder.person.has_role(Role.KEEPER)
    return is_lent and is_same and keeps


def loan_due(now: datetime) -> Iterator[Due]:
    """From 18:00 of the day before until the end of the day it is due."""
    today = club_day(now)
    loans = Loan.objects.open().filter(due_on__in=[today, today + timedelta(days=1)], person__is_active=True)
    for loan_id, person_id, due_on in loans.values_list("pk", "person_id", "due_on"):
        due_at = _at(due_on - timedelta(days=1), DAY_BEFORE_AT)
        if due_at <= now:
            yield Due(f"{LOAN}{loan_id}", str(due_on), person_id, due_at)


def loan_due_still_due(reminder: Reminder, now: datetime) -> bool:
    """Not back, not extended, and the day not over."""
    loan = _open_loan(reminder)
    return loan is not None and str(loan.due_on) == reminder.occurrence and loan.due_on >= club_day(now)


def loan_overdue(now: datetime) -> Iterator[Due]:
    """The morning after, and the same weekday of the three weeks that follow."""
    today = club_day(now)
    loans = Loan.objects.overdue(today).filter(
        due_on__gte=today - timedelta(weeks=OVERDUE_CALLS), person__is_active=True
    )
    for loan_id, person_id, due_on in loans.values_list("pk", "person_id", "due_on"):
        week = ((today - due_on).days - 1) // 7
        due_at = _at(due_on + timedelta(days=1, weeks=week), DAY_AFTER_AT)
        if week < OVERDUE_CALLS and due_at <= now:
            yield Due(f"{LOAN}{loan_id}", f"{due_on}:{week}", person_id, due_at)


def loan_overdue_still_due(reminder: Reminder, now: datetime) -> bool:
    """Not back and not extended."""
    loan = _open_loan(reminder)
    return loan is not None and reminder.occurrence.startswith(f"{loan.due_on}:") and loan.due_on < club_day(now)


def offer_due(now: datetime) -> Iterator[Due]:
    """At once, to whoever is offered a thing."""
    offered = WaitingEntry.objects.filter(state=WaitState.OFFERED, offer_until__gt=now, person__is_active=True)
    for entry_id, person_id, at in offered.values_list("pk", "person_id", "offered_at"):
        if at is not None:
            yield Due(f"{OFFER}{entry_id}", at.astimezone(UTC).isoformat(), person_id, at)


def offer_still_due(reminder: Reminder, now: datetime) -> bool:
    return WaitingEntry.objects.filter(pk=subject_id(reminder), state=WaitState.OFFERED, offer_until__gt=now).exists()


def words(subjects: Iterable[str]) -> dict[str, str | Promise]:
    """What each subject of this room is about, in words; three queries, however many."""
    wanted = list(subjects)

    def ids(kind: str) -> list[int]:
        return [int(one.removeprefix(kind)) for one in wanted if one.startswith(kind)]

    found: dict[str, str | Promise] = {}
    found |= {f"{THING}{pk}": code for pk, code in Thing.objects.filter(pk__in=ids(THING)).values_list("pk", "code")}
    loans = Loan.objects.filter(pk__in=ids(LOAN))
    found |= {f"{LOAN}{pk}": code for pk, code in loans.values_list("pk", "thing__code")}
    for entry in WaitingEntry.objects.filter(pk__in=ids(OFFER)):
        found[f"{OFFER}{entry.pk}"] = entry.get_kind_display()
    return found


def _at(day: date, hour: time) -> datetime:
    """That hour on the wall of the club, in UTC."""
    return timezone.make_aware(datetime.combine(day, hour), timezone.get_default_timezone()).astimezone(UTC)


def _open_loan(reminder: Reminder) -> Loan | None:
    if not reminder.person.is_active:
        return None
    return Loan.objects.open().filter(pk=subject_id(reminder), person=reminder.person_id).first()


def subject_id(reminder: Reminder) -> int:
    return int(reminder.subject.partition(":")[2])
