"""What is due about the store: supplies that run low or are past their date, club orders that close or have arrived."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext_lazy as _

from club.core.clock import club_day
from club.members.choices import Role
from club.members.models import User
from club.reminders.models import Reminder
from club.reminders.rules.base import AnyRule, Rule, at_hour, stamp
from inventory.jars.choices import OrderState
from inventory.jars.models import KEEP, ClubOrder, OrderPickup, OrderWish, Supply, SupplyLot, is_low

A_DAY = timedelta(days=1)


class SupplyLow(Rule[Supply]):
    """To every keeper, once for each time it happens: too little is left that can be used.

    One whose stock only lapsed is the next rule's to tell.
    """

    name = "supply-low"
    title = _("buy more of what runs low")
    prefix = "supply:"
    model = Supply
    subject_field = "name"
    role = Role.KEEPER
    keeps_a_week = True
    at_once = True

    def due_rows(self, now: datetime) -> QuerySet[Supply]:
        return Supply.objects.with_counts(club_day(now))

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


DAY_BEFORE_AT = time(18)
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
        open_now = ClubOrder.objects.all().taking_wishes(now).values_list("pk", "closes_at")
        closing = [(pk, at) for pk, at in open_now if evening_before(at) <= now]
        if closing:
            recent = OrderWish.objects.filter(line__order__opened_at__gt=now - ASKED_AGAIN, member__is_active=True)
            people = sorted(set(recent.order_by().values_list("member", flat=True)))
            yield from (OrderForMember(pk, person, at) for pk, at in closing for person in people)

    def open_row(self, reminder: Reminder, now: datetime) -> OrderForMember | None:
        """It can be ordered from still, until the same hour."""
        order = ClubOrder.objects.all().taking_wishes(now).filter(pk=reminder.subject_id).first()
        return OrderForMember(order.pk, reminder.person_id, order.closes_at) if order is not None else None

    def due_at(self, row: OrderForMember, now: datetime) -> datetime:
        return evening_before(row.at)

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        order = ClubOrder.objects.get(pk=reminder.subject_id)
        context = {
            "title": order.title,
            "when": date_format(timezone.localtime(order.closes_at), "l j F, H:i"),
            "has_ordered": OrderWish.objects.filter(line__order=order, member=reminder.person_id).exists(),
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
        lines = OrderWish.objects.filter(line__order=order, member=reminder.person_id, got__gt=0)
        got = "; ".join(f"{one.got} × {one.line}" for one in lines.select_related("line").order_by("line"))
        path = reverse("jars:order-bill", args=[order.pk, reminder.person_id])
        return path, {"title": order.title, "got": got}


def _not_fetched() -> QuerySet[OrderWish]:
    """What members get of orders that are there, and have not fetched."""
    fetched = OrderPickup.objects.filter(order=OuterRef("line__order"), member=OuterRef("member"))
    there = OrderWish.objects.filter(line__order__state=OrderState.ARRIVED, got__gt=0, member__is_active=True)
    return there.filter(~Exists(fetched))


def evening_before(closes_at: datetime) -> datetime:
    """18:00 on the wall of the club, the day before the closing day; in UTC."""
    return at_hour(club_day(closes_at) - A_DAY, DAY_BEFORE_AT)


RULES: tuple[AnyRule, ...] = (SupplyLow(), SupplyPast(), OrderClosing(), OrderArrived())
