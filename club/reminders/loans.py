"""What is due about loans and holds: fetch it, bring it back, and in three steps when it does not come back.

The hours are those on the wall of the club. The day before it is due at 18:00 and the day itself at 8:00; overdue, the
morning after in kind words, a week and two weeks later in plain ones, and after three weeks to the keepers: then a mail
to whoever has it no longer helps, and somebody telephones. All of these are our own choices, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, datetime, time, timedelta

from django.utils.translation import gettext_lazy as _

from club.core.clock import club_day
from club.members.choices import Role
from club.reminders import loan_mails
from club.reminders.models import Reminder
from club.reminders.subjects import at_hour, holders_of, ids_of, subject_id
from club.reminders.terms import Rule
from club.reminders.wording import Due
from inventory.equipment.choices import HoldState
from inventory.equipment.models import Hold, HoldQuerySet, Loan, Thing, standing, what_test_wants

LOAN, HOLD = "loan:", "hold:"
EVENING, MORNING, DAY_AFTER_AT = time(18), time(8), time(9)
A_DAY = timedelta(days=1)
CALLS = 3  # to whoever has it, a week between them
KEEPERS_AFTER = timedelta(weeks=CALLS)
# A call that nobody sent for so long, as the site was away, is not sent any more; the keepers' page still says it.
KEEPERS_WITHIN = timedelta(weeks=8)


def loan_due(now: datetime) -> Iterator[Due]:
    """From 18:00 of the day before until 8:00 of the day it is due, when the next call speaks alone."""
    yield from _due_back(now, before=A_DAY, at=EVENING, until=MORNING)


def loan_due_today(now: datetime) -> Iterator[Due]:
    yield from _due_back(now, before=timedelta(0), at=MORNING, until=None)


def _due_back(now: datetime, *, before: timedelta, at: time, until: time | None) -> Iterator[Due]:
    """Loans due today or tomorrow whose hour has come. One handed over since needs no reminding yet."""
    today = club_day(now)
    loans = Loan.objects.open().filter(due_on__in=[today, today + before], person__is_active=True)
    for loan_id, person_id, due_on, handed in loans.values_list("pk", "person_id", "due_on", "handed_over_at"):
        due_at = at_hour(due_on - before, at)
        is_over = until is not None and now >= at_hour(due_on, until)
        if handed < due_at <= now and not is_over:
            yield Due(f"{LOAN}{loan_id}", str(due_on), person_id, due_at)


def loan_due_still_due(reminder: Reminder, now: datetime) -> bool:
    """Not back, not extended, and the morning of the day not come."""
    loan = _open_loan(reminder)
    is_same = loan is not None and str(loan.due_on) == reminder.occurrence
    return loan is not None and is_same and now < at_hour(loan.due_on, MORNING)


def loan_due_today_still_due(reminder: Reminder, now: datetime) -> bool:
    """Not back, not extended, and the day not over."""
    loan = _open_loan(reminder)
    return loan is not None and str(loan.due_on) == reminder.occurrence and loan.due_on >= club_day(now)


def loan_overdue(now: datetime) -> Iterator[Due]:
    """The morning after, and the same weekday of the two weeks that follow."""
    today = club_day(now)
    loans = Loan.objects.overdue(today).filter(due_on__gte=today - KEEPERS_AFTER, person__is_active=True)
    for loan_id, person_id, due_on in loans.values_list("pk", "person_id", "due_on"):
        week = ((today - due_on).days - 1) // 7
        due_at = at_hour(due_on + A_DAY + timedelta(weeks=week), DAY_AFTER_AT)
        if week < CALLS and due_at <= now:
            yield Due(f"{LOAN}{loan_id}", f"{due_on}:{week}", person_id, due_at)


def loan_overdue_still_due(reminder: Reminder, now: datetime) -> bool:
    """Not back and not extended."""
    loan = _open_loan(reminder)
    return loan is not None and reminder.occurrence.startswith(f"{loan.due_on}:") and loan.due_on < club_day(now)


def keepers_due(now: datetime) -> Iterator[Due]:
    """To every keeper, once, when three calls brought nothing; also of somebody who has left the club."""
    today = club_day(now)
    late = Loan.objects.overdue(today).filter(due_on__range=(today - KEEPERS_WITHIN, today - KEEPERS_AFTER - A_DAY))
    loans = [(pk, day) for pk, day in late.values_list("pk", "due_on") if _keepers_at(day) <= now]
    keepers = holders_of(Role.KEEPER) if loans else []
    for loan_id, due_on in loans:
        for keeper in keepers:
            yield Due(f"{LOAN}{loan_id}", str(due_on), keeper, _keepers_at(due_on))


def keepers_still_due(reminder: Reminder, now: datetime) -> bool:
    """Not back, not extended, the person a keeper still."""
    same = Loan.objects.overdue(club_day(now)).filter(pk=subject_id(reminder), due_on=reminder.occurrence)
    return same.exists() and reminder.person.is_active and reminder.person.has_role(Role.KEEPER)


def hold_ready(now: datetime) -> Iterator[Due]:
    """From 18:00 of the day before a hold begins until that day is over, once its thing is there to be fetched."""
    today = club_day(now)
    soon = Hold.objects.filter(state=HoldState.HELD, starts__in=[today, today + A_DAY], person__is_active=True)
    for hold in _ready(soon, today):
        due_at = at_hour(hold.starts - A_DAY, EVENING)
        if hold.placed_at < due_at <= now:  # who laid it down since knows when it begins
            yield Due(f"{HOLD}{hold.pk}", str(hold.starts), hold.person_id, due_at)


def hold_still_due(reminder: Reminder, now: datetime) -> bool:
    """Held for the same day still and not fetched, the thing there, and the day not over."""
    today = club_day(now)
    if not reminder.person.is_active:
        return False
    held = Hold.objects.filter(pk=subject_id(reminder), state=HoldState.HELD, starts=reminder.occurrence)
    return bool(_ready(held.filter(starts__gte=today), today))


def _ready(holds: HoldQuerySet, today: date) -> list[Hold]:
    """Those whose thing can be handed over: in service, not out, its test good to the last day. Two queries."""
    rows = list(holds)
    there = Thing.objects.in_service().with_standing(today).filter(pk__in={hold.thing_id for hold in rows})
    things = {thing.pk: thing for thing in there if not standing(thing, today).is_out}
    return [hold for hold in rows if hold.thing_id in things and not what_test_wants(things[hold.thing_id], hold.ends)]


def _keepers_at(due_on: date) -> datetime:
    return at_hour(due_on + A_DAY + KEEPERS_AFTER, DAY_AFTER_AT)


def _open_loan(reminder: Reminder) -> Loan | None:
    if not reminder.person.is_active:
        return None
    return Loan.objects.open().filter(pk=subject_id(reminder), person=reminder.person_id).first()


def words(subjects: Iterable[str]) -> dict[str, str]:
    """The code of the thing, by subject; two queries, however many."""
    wanted = list(subjects)
    loans = Loan.objects.filter(pk__in=ids_of(wanted, LOAN)).values_list("pk", "thing__code")
    holds = Hold.objects.filter(pk__in=ids_of(wanted, HOLD)).values_list("pk", "thing__code")
    return {f"{LOAN}{pk}": code for pk, code in loans} | {f"{HOLD}{pk}": code for pk, code in holds}


RULES = (
    Rule("loan-due", _("bring a thing back"), loan_due, loan_due_still_due, loan_mails.due_message),
    Rule(
        "loan-due-today",
        _("bring a thing back today"),
        loan_due_today,
        loan_due_today_still_due,
        loan_mails.due_today_message,
    ),
    Rule(
        "loan-overdue",
        _("bring a thing back, overdue"),
        loan_overdue,
        loan_overdue_still_due,
        loan_mails.overdue_message,
    ),
    Rule(
        "loan-overdue-keepers",
        _("ask for a thing that did not come back"),
        keepers_due,
        keepers_still_due,
        loan_mails.keepers_message,
        only_to=frozenset({Role.KEEPER}),
    ),
    Rule("hold-ready", _("collect a thing that you hold"), hold_ready, hold_still_due, loan_mails.hold_message),
)
