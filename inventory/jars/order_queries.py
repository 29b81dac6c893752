"""Reads of the club orders: who may see them, which are open, and everybody's bill in a bounded number of queries."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from django.db import models
from django.db.models import Q, Sum

from club.members.models import User
from inventory.jars.bills import Bill, Costs, Wanted, bills_of
from inventory.jars.splitting import SplitRule
from inventory.jars.words import OrderState

if TYPE_CHECKING:
    from inventory.jars.models import ClubOrder, OrderLine, OrderPickup, OrderWish

RUN = "jars.run_orders"
WISH = "batches.add_batch"


class ClubOrderQuerySet(models.QuerySet["ClubOrder"]):
    def visible_to(self, user: User) -> ClubOrderQuerySet:
        """The gate: a club order is for every member of the club, and for nobody else."""
        return self if user.has_perm(WISH) or user.has_perm(RUN) else self.none()

    def taking_wishes(self, now: datetime) -> ClubOrderQuerySet:
        return self.filter(state=OrderState.OPEN, closes_at__gt=now)

    def going_on(self) -> ClubOrderQuerySet:
        return self.exclude(state__in=[OrderState.CLOSED, OrderState.CANCELLED])

    def with_mine(self, user: User) -> ClubOrderQuerySet:
        """`mine`: how many units the person would like, over all lines; None for none."""
        return self.annotate(mine=Sum("lines__wishes__quantity", filter=Q(lines__wishes__member=user)))


@dataclass(frozen=True)
class LineSum:
    """One line with what is wished of it in all, by this person, and what she gets."""

    line: OrderLine
    asked: int
    mine: int
    got: int | None


@dataclass(frozen=True)
class MemberSum:
    """One member's bill, what she has paid of it, and whether she has her things."""

    member: User
    bill: Bill
    paid_cents: int
    pickup: OrderPickup | None

    @property
    def owed_cents(self) -> int:
        return self.bill.total_cents - self.paid_cents

    @property
    def gets_something(self) -> bool:
        return any(line.gets for line in self.bill.lines)


def wishes_of(order: ClubOrder) -> list[OrderWish]:
    from inventory.jars.models import OrderWish

    return list(OrderWish.objects.filter(line__order=order).select_related("line__supply", "member").order_by("pk"))


def line_sums(order: ClubOrder, wishes: list[OrderWish], user: User) -> list[LineSum]:
    asked: dict[int, int] = {}
    mine: dict[int, OrderWish] = {}
    for wish in wishes:
        asked[wish.line_id] = asked.get(wish.line_id, 0) + wish.quantity
        if wish.member_id == user.pk:
            mine[wish.line_id] = wish
    sums = []
    for line in order.lines.select_related("supply", "lid_lot"):
        own = mine.get(line.pk)
        sums.append(LineSum(line, asked.get(line.pk, 0), own.quantity if own else 0, own.got if own else None))
    return sums


def bills_for(order: ClubOrder, wishes: list[OrderWish]) -> dict[int, Bill]:
    """By member: of what came, once the order has arrived; before that, of what is wished."""
    wanted = [
        Wanted(
            member=wish.member_id,
            line=wish.line_id,
            name=wish.line.name,
            unit=wish.line.unit,
            asked=wish.quantity,
            gets=wish.quantity if wish.got is None else wish.got,
            price_cents=wish.line.price_cents,
            grams=wish.line.grams,
        )
        for wish in wishes
    ]
    costs = Costs(
        freight_cents=order.freight_cents,
        freight_by=SplitRule(order.freight_by),
        discount_cents=order.discount_cents,
        discount_by=SplitRule(order.discount_by),
    )
    return bills_of(wanted, costs)


def member_sums(order: ClubOrder, wishes: list[OrderWish]) -> list[MemberSum]:
    """Everybody who ordered, by name."""
    bills = bills_for(order, wishes)
    paid = dict(order.payments.order_by().values_list("member").annotate(Sum("cents")))
    pickups = {pickup.member_id: pickup for pickup in order.pickups.select_related("by")}
    people = {wish.member_id: wish.member for wish in wishes}
    rows = [MemberSum(people[member], bill, paid.get(member, 0), pickups.get(member)) for member, bill in bills.items()]
    return sorted(rows, key=lambda row: (row.member.name.lower(), row.member.pk))


def lines_left(order: ClubOrder, wishes: list[OrderWish]) -> list[tuple[OrderLine, int]]:
    """What came and nobody asked for, in units: it stays with the club."""
    given: dict[int, int] = {}
    for wish in wishes:
        given[wish.line_id] = given.get(wish.line_id, 0) + (wish.got or 0)
    left = [(line, (line.received or 0) - given.get(line.pk, 0)) for line in order.lines.all()]
    return [(line, units) for line, units in left if units > 0]
