"""What is due about the club's store: what is lent (tests of gauges and meters, an offer from a waiting line, loans and
holds), supplies that run low or are past their date, club orders that close or have arrived.

Hours are those on the wall of the club; all of them are our own choices, no source. A loan is asked for the day before
it is due at 18:00 and the day itself at 8:00; overdue, the morning after in kind words, a week and two weeks later in
plain ones, and after three weeks of the keepers: then a mail to whoever has it no longer helps, somebody telephones.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext_lazy as _

from club.core.clock import at_hour, club_day
from club.members.choices import Role
from club.members.models import User
from club.reminders.models import Reminder
from club.reminders.rules import AnyRule, Rule, format_day, format_moment, stamp
from inventory.equipment.choices import HoldState, WaitState
from inventory.equipment.models import Hold, InstrumentTest, Loan, Thing, WaitingEntry, status_of, what_test_wants
from inventory.equipment.rules import MONTH_BEFORE, WEEK_BEFORE
from inventory.jars.choices import OrderState
from inventory.jars.models import KEEP, ClubOrder, OrderEntry, OrderPickup, Supply, SupplyLot, is_low

EVENING, MORNING, LATER_MORNING = time(18), time(8), time(9)
A_DAY = timedelta(days=1)
# Our own choice, no source: things come back one by one through a morning.
HALF_AN_HOUR = timedelta(minutes=30)
CALLS = 3  # to whoever has it, a week between them
KEEPERS_AFTER = timedelta(weeks=CALLS)
# A call that nobody sent for so long, as the site was away, is not sent any more; the keepers' page still says it.
KEEPERS_WITHIN = timedelta(weeks=8)


@dataclass(frozen=True)
class LapsingTest:
    """An instrument whose test is good still, until that day."""

    equipment_id: int
    lapses: date

    def is_within_week(self, now: datetime) -> bool:
        return self.lapses - club_day(now) <= WEEK_BEFORE


class GaugeDue(Rule[LapsingTest]):
    """To every keeper, at 9:00 a month and a week before an instrument's test lapses."""

    name = "gauge-due"
    gathers = True
    title = _("test a gauge or a meter")
    prefix = "thing:"
    model = Thing
    subject_field = "code"
    role = Role.KEEPER
    keeps_a_week = True
    settles_with_occurrence = False

    def due_rows(self, now: datetime) -> Iterator[LapsingTest]:
        today = club_day(now)
        return (LapsingTest(*row) for row in Thing.objects.all().tests_lapsing(today, today + MONTH_BEFORE))

    def open_row(self, reminder: Reminder, now: datetime) -> LapsingTest | None:
        """No newer test, and not retired. A call of the month is still one in the last week."""
        last = InstrumentTest.objects.filter(thing=reminder.subject_id).order_by("-tested_on", "-pk").first()
        is_lent = Thing.objects.filter(pk=reminder.subject_id).exclude(state="retired").exists()
        if last is None or not is_lent or last.lapses_on != _lapse_day(reminder) or last.lapses_on <= club_day(now):
            return None
        return LapsingTest(reminder.subject_id, last.lapses_on)

    def occurrence(self, test: LapsingTest, now: datetime) -> str:
        return f"{test.lapses}:{'week' if test.is_within_week(now) else 'month'}"

    def due_at(self, test: LapsingTest, now: datetime) -> datetime:
        return at_hour(test.lapses - (WEEK_BEFORE if test.is_within_week(now) else MONTH_BEFORE), LATER_MORNING)

    def key(self, test: LapsingTest) -> int:
        return test.equipment_id

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        equipment = Thing.objects.get(pk=reminder.subject_id)
        context = {"equipment": equipment, "day": format_day(_lapse_day(reminder))}
        return reverse("equipment:test", args=[equipment.code]), context


def _lapse_day(reminder: Reminder) -> date:
    return date.fromisoformat(reminder.occurrence.partition(":")[0])


class EquipmentOffered(Rule[WaitingEntry]):
    """At once, to whoever is next in a waiting line and is offered something."""

    name = "thing-offer"
    title = _("a thing is free for you")
    prefix = "wait:"
    model = WaitingEntry
    person_field = "person"
    at_once = True
    settles_with_occurrence = False

    def due_rows(self, now: datetime) -> QuerySet[WaitingEntry]:
        return self.open_rows(now).filter(person__is_active=True)

    def open_rows(self, now: datetime) -> QuerySet[WaitingEntry]:
        return WaitingEntry.objects.filter(state=WaitState.OFFERED, offer_until__gt=now)

    def occurrence(self, entry: WaitingEntry, now: datetime) -> str:
        return stamp(entry.offered_at)

    def due_at(self, entry: WaitingEntry, now: datetime) -> datetime:
        return entry.offered_at or now

    def names(self, keys: Collection[int]) -> dict[int, str]:
        return {entry.pk: str(entry.get_kind_display()) for entry in WaitingEntry.objects.filter(pk__in=keys)}

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        entry = WaitingEntry.objects.select_related("hold__thing").get(pk=reminder.subject_id)
        hold = entry.hold
        assert hold is not None  # a constraint of the table: what is offered names it
        context = {
            "equipment": hold.thing,
            "first": format_day(hold.starts),
            "last": format_day(hold.ends),
            "until": format_moment(entry.offer_until),
        }
        return reverse("equipment:mine"), context


class LoanRule(Rule[Loan]):
    """To whoever has it, while it is not back."""

    prefix = "loan:"
    model = Loan
    subject_field = "thing__code"
    person_field = "person"

    def open_rows(self, now: datetime) -> QuerySet[Loan]:
        return Loan.objects.open()

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        loan = Loan.objects.select_related("thing", "person").get(pk=reminder.subject_id)
        context = {"equipment": loan.thing, "day": format_day(loan.due_on), "person": loan.person}
        return reverse("equipment:mine"), context


def _to_remind(loans: Iterable[Loan], rule: LoanRule, now: datetime) -> Iterator[Loan]:
    """A loan handed over since its hour needs no reminding yet."""
    return (loan for loan in loans if loan.handed_over_at < rule.due_at(loan, now))


class LoanDue(LoanRule):
    """From 18:00 of the day before until 8:00 of the day it is due, when the next call speaks alone."""

    name = "loan-due"
    gathers = True
    title = _("bring a thing back")

    def due_rows(self, now: datetime) -> Iterator[Loan]:
        today = club_day(now)
        loans = Loan.objects.open().filter(due_on__in=[today, today + A_DAY], person__is_active=True)
        return _to_remind(loans, self, now)

    def occurrence(self, loan: Loan, now: datetime) -> str:
        return str(loan.due_on) if now < at_hour(loan.due_on, MORNING) else ""

    def due_at(self, loan: Loan, now: datetime) -> datetime:
        return at_hour(loan.due_on - A_DAY, EVENING)


class LoanDueToday(LoanRule):
    name = "loan-due-today"
    gathers = True
    title = _("bring a thing back today")

    def due_rows(self, now: datetime) -> Iterator[Loan]:
        loans = Loan.objects.open().filter(due_on=club_day(now), person__is_active=True)
        return _to_remind(loans, self, now)

    def occurrence(self, loan: Loan, now: datetime) -> str:
        return str(loan.due_on) if loan.due_on >= club_day(now) else ""

    def due_at(self, loan: Loan, now: datetime) -> datetime:
        return at_hour(loan.due_on, MORNING)


class LoanOverdue(LoanRule):
    """The morning after, and the same weekday of the two weeks that follow."""

    name = "loan-overdue"
    gathers = True
    title = _("bring a thing back, overdue")
    settles_with_occurrence = False

    def due_rows(self, now: datetime) -> Iterator[Loan]:
        today = club_day(now)
        loans = Loan.objects.overdue(today).filter(due_on__gte=today - KEEPERS_AFTER, person__is_active=True)
        return (loan for loan in loans if _weeks_late(loan, now) < CALLS)

    def open_row(self, reminder: Reminder, now: datetime) -> Loan | None:
        """Not back and not extended. A call of one week is still one in the next."""
        loan = super().open_row(reminder, now)
        if loan is None or loan.due_on >= club_day(now) or not reminder.occurrence.startswith(f"{loan.due_on}:"):
            return None
        return loan

    def occurrence(self, loan: Loan, now: datetime) -> str:
        return f"{loan.due_on}:{_weeks_late(loan, now)}"

    def due_at(self, loan: Loan, now: datetime) -> datetime:
        return at_hour(loan.due_on + A_DAY + timedelta(weeks=_weeks_late(loan, now)), LATER_MORNING)

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        """Kind the first time, plain from then on."""
        path, context = super().mail(reminder, now)
        return path, {**context, "weeks": int(reminder.occurrence.rpartition(":")[2])}


def _weeks_late(loan: Loan, now: datetime) -> int:
    return ((club_day(now) - loan.due_on).days - 1) // 7


class LoanOverdueForKeepers(LoanRule):
    """To every keeper, once, when three calls brought nothing; also of somebody who has left the club."""

    name = "loan-overdue-keepers"
    gathers = True
    title = _("ask for a thing that did not come back")
    role = Role.KEEPER

    def due_rows(self, now: datetime) -> QuerySet[Loan]:
        today = club_day(now)
        return self.open_rows(now).filter(due_on__range=(today - KEEPERS_WITHIN, today - KEEPERS_AFTER - A_DAY))

    def open_rows(self, now: datetime) -> QuerySet[Loan]:
        return Loan.objects.overdue(club_day(now))

    def occurrence(self, loan: Loan, now: datetime) -> str:
        return str(loan.due_on)

    def due_at(self, loan: Loan, now: datetime) -> datetime:
        return at_hour(loan.due_on + A_DAY + KEEPERS_AFTER, LATER_MORNING)

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        _path, context = super().mail(reminder, now)
        return reverse("equipment:overdue"), context


class HoldReady(Rule[Hold]):
    """From 18:00 of the day before a hold begins until that day is over, once its thing is there to be fetched."""

    name = "hold-ready"
    gathers = True
    gathers_for = HALF_AN_HOUR
    title = _("collect a thing that you hold")
    prefix = "hold:"
    model = Hold
    subject_field = "thing__code"
    person_field = "person"

    def due_rows(self, now: datetime) -> Iterator[Hold]:
        today = club_day(now)
        soon = Hold.objects.filter(state=HoldState.HELD, starts__in=[today, today + A_DAY], person__is_active=True)
        # Who placed it since then knows when it begins.
        return (hold for hold in _ready(soon, today) if hold.placed_at < self.due_at(hold, now))

    def open_row(self, reminder: Reminder, now: datetime) -> Hold | None:
        """Not fetched, the thing there, and the day not over."""
        today = club_day(now)
        held = Hold.objects.filter(pk=reminder.subject_id, state=HoldState.HELD, starts__gte=today)
        return next(iter(_ready(held, today)), None)

    def occurrence(self, hold: Hold, now: datetime) -> str:
        return str(hold.starts)

    def due_at(self, hold: Hold, now: datetime) -> datetime:
        return at_hour(hold.starts - A_DAY, EVENING)

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        hold = Hold.objects.select_related("thing__home").get(pk=reminder.subject_id)
        where = ", ".join(filter(None, (str(hold.thing.home or ""), hold.thing.place)))
        context = {
            "equipment": hold.thing,
            "first": format_day(hold.starts),
            "last": format_day(hold.ends),
            "where": where,
        }
        return reverse("equipment:mine"), context


def _ready(holds: QuerySet[Hold], today: date) -> list[Hold]:
    """Those whose thing can be handed over: in service, not out, its test good to the last day. Two queries."""
    rows = list(holds)
    there = Thing.objects.in_service().with_status(today).filter(pk__in={hold.thing_id for hold in rows})
    things = {thing.pk: thing for thing in there if not status_of(thing, today).is_out}
    return [hold for hold in rows if hold.thing_id in things and not what_test_wants(things[hold.thing_id], hold.ends)]


# Supplies and club orders.


class SupplyLow(Rule[Supply]):
    """To every keeper, once for each time it happens: too little is left that can be used.

    One whose stock only lapsed is the next rule's to tell.
    """

    name = "supply-low"
    gathers = True
    title = _("buy more of what runs low")
    prefix = "supply:"
    model = Supply
    subject_field = "name"
    role = Role.KEEPER
    keeps_a_week = True
    at_once = True

    def due_rows(self, now: datetime) -> QuerySet[Supply]:
        return Supply.objects.kept().with_counts(club_day(now))

    def reaches(self, supply: Supply, person: User) -> bool:
        return person.has_perm(KEEP)

    def occurrence(self, supply: Supply, now: datetime) -> str:
        return stamp(supply.low_since) if is_low(supply) else ""

    def due_at(self, supply: Supply, now: datetime) -> datetime:
        return supply.low_since or now

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        supply = self.due_rows(now).get(pk=reminder.subject_id)
        return supply.get_absolute_url(), {"supply": supply}


class SupplyPast(Rule[SupplyLot]):
    """To every keeper, from the day after a lot's date while it is on the shelf."""

    name = "supply-past"
    gathers = True
    title = _("take what is past its date off the shelf")
    prefix = "supply-lot:"
    model = SupplyLot
    subject_field = "supply__name"
    role = Role.KEEPER
    keeps_a_week = True

    def due_rows(self, now: datetime) -> QuerySet[SupplyLot]:
        return SupplyLot.objects.past(club_day(now))

    def reaches(self, lot: SupplyLot, person: User) -> bool:
        return person.has_perm(KEEP)

    def occurrence(self, lot: SupplyLot, now: datetime) -> str:
        return str(lot.use_by or "")

    def due_at(self, lot: SupplyLot, now: datetime) -> datetime:
        assert lot.use_by is not None  # without a date it is never past it
        return at_hour(lot.use_by + A_DAY, time(0))

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        lot = SupplyLot.objects.select_related("supply").get(pk=reminder.subject_id)
        use_by = date_format(lot.use_by, "j F Y") if lot.use_by else ""
        return lot.supply.get_absolute_url(), {"lot": lot, "use_by": use_by}


# Our own choice, no source: who ordered something within the year is asked again, others read it on the site.
ASKED_AGAIN = timedelta(days=365)


@dataclass(frozen=True)
class OrderForMember:
    """An order, and somebody it is told to; `at` is when it closes, or when it arrived."""

    order_id: int
    person_id: int
    at: datetime


class OrderRule(Rule[OrderForMember]):
    prefix = "order:"
    model = ClubOrder
    subject_field = "title"
    person_field = "person"

    def occurrence(self, row: OrderForMember, now: datetime) -> str:
        return stamp(row.at)

    def key(self, row: OrderForMember) -> int:
        return row.order_id


class OrderClosing(OrderRule):
    """From 18:00 of the day before until it closes, to everybody who wanted something in an order of this year."""

    name = "order-closing"
    title = _("a club order closes")

    def due_rows(self, now: datetime) -> Iterator[OrderForMember]:
        open_now = ClubOrder.objects.all().taking_entries(now).values_list("pk", "closes_at")
        closing = [(pk, at) for pk, at in open_now if evening_before(at) <= now]
        if closing:
            recent = OrderEntry.objects.filter(line__order__opened_at__gt=now - ASKED_AGAIN, member__is_active=True)
            people = sorted(set(recent.order_by().values_list("member", flat=True)))
            yield from (OrderForMember(pk, person, at) for pk, at in closing for person in people)

    def open_row(self, reminder: Reminder, now: datetime) -> OrderForMember | None:
        """It can be ordered from still, until the same hour."""
        order = ClubOrder.objects.all().taking_entries(now).filter(pk=reminder.subject_id).first()
        return OrderForMember(order.pk, reminder.person_id, order.closes_at) if order is not None else None

    def due_at(self, row: OrderForMember, now: datetime) -> datetime:
        return evening_before(row.at)

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        order = ClubOrder.objects.get(pk=reminder.subject_id)
        context = {
            "title": order.title,
            "when": date_format(timezone.localtime(order.closes_at), "l j F, H:i"),
            "has_ordered": OrderEntry.objects.filter(line__order=order, member=reminder.person_id).exists(),
        }
        return order.get_absolute_url(), context


class OrderArrived(OrderRule):
    """At once, to everybody who gets something of an order and has not fetched it."""

    name = "order-arrived"
    title = _("an order to pick up")
    settles_with_occurrence = False

    def due_rows(self, now: datetime) -> Iterator[OrderForMember]:
        columns = ("line__order", "member", "line__order__arrived_at")
        rows = _not_fetched().order_by().values_list(*columns).distinct()
        return (OrderForMember(pk, person, at) for pk, person, at in rows if at is not None)

    def open_row(self, reminder: Reminder, now: datetime) -> OrderForMember | None:
        waits = _not_fetched().filter(line__order=reminder.subject_id, member=reminder.person_id).exists()
        return OrderForMember(reminder.subject_id, reminder.person_id, now) if waits else None

    def due_at(self, row: OrderForMember, now: datetime) -> datetime:
        return row.at

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        order = ClubOrder.objects.get(pk=reminder.subject_id)
        lines = OrderEntry.objects.filter(line__order=order, member=reminder.person_id, got__gt=0)
        got = "; ".join(f"{one.got} × {one.line}" for one in lines.select_related("line").order_by("line"))
        path = reverse("jars:order-bill", args=[order.pk, reminder.person_id])
        return path, {"title": order.title, "got": got}


def _not_fetched() -> QuerySet[OrderEntry]:
    """What members get of orders that are there, and have not fetched."""
    fetched = OrderPickup.objects.filter(order=OuterRef("line__order"), member=OuterRef("member"))
    there = OrderEntry.objects.filter(line__order__state=OrderState.ARRIVED, got__gt=0, member__is_active=True)
    return there.filter(~Exists(fetched))


def evening_before(closes_at: datetime) -> datetime:
    """18:00 on the wall of the club, the day before the closing day; in UTC."""
    return at_hour(club_day(closes_at) - A_DAY, EVENING)


RULES: tuple[AnyRule, ...] = (
    GaugeDue(),
    EquipmentOffered(),
    LoanDue(),
    LoanDueToday(),
    LoanOverdue(),
    LoanOverdueForKeepers(),
    HoldReady(),
    SupplyLow(),
    SupplyPast(),
    OrderClosing(),
    OrderArrived(),
)
