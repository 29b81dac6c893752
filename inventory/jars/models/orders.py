"""Club orders: what members pool to buy, who wants how much, what came, who has paid and who has theirs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.db import models
from django.db.models import F, Q, Sum
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from club.core.fields import NameField
from club.core.ledger import LedgerRow
from club.members.models import User
from inventory.jars.billing import Bill, Costs, SplitRule, Wanted, bills_of
from inventory.jars.choices import LineKind, OrderState, ShortBy, SplitBy
from inventory.jars.models.stock import LidLot, Supply, SupplyLot
from inventory.jars.rules import ORDER_NOTE_LENGTH, ORDER_TEXT_LENGTH, ORDER_UNIT_LENGTH
from recipes.engine.quantities import JAR_SIZES

RUN = "jars.run_orders"
MAY_ORDER = "batches.add_batch"


class ClubOrderQuerySet(models.QuerySet["ClubOrder"]):
    def visible_to(self, user: User) -> ClubOrderQuerySet:
        """The gate: a club order is for every member of the club, and for nobody else."""
        return self if user.has_perm(MAY_ORDER) or user.has_perm(RUN) else self.none()

    def taking_entries(self, now: datetime) -> ClubOrderQuerySet:
        return self.filter(state=OrderState.OPEN, closes_at__gt=now)

    def going_on(self) -> ClubOrderQuerySet:
        return self.exclude(state__in=[OrderState.CLOSED, OrderState.CANCELLED])

    def with_mine(self, user: User) -> ClubOrderQuerySet:
        """`mine`: how many units the person would like, over all lines; None for none."""
        return self.annotate(mine=Sum("lines__entries__quantity", filter=Q(lines__entries__member=user)))


class ClubOrder(models.Model):
    """open -> ordered -> arrived -> closed; open or ordered -> cancelled. Wishes change while it is open, not after."""

    title = NameField(_("what for"), max_length=ORDER_TEXT_LENGTH)
    supplier = models.CharField(_("supplier"), max_length=ORDER_TEXT_LENGTH, blank=True)
    note = models.CharField(_("note"), max_length=ORDER_NOTE_LENGTH, blank=True)
    closes_at = models.DateTimeField(_("wishes until"))
    state = models.CharField(max_length=10, choices=OrderState.choices, default=OrderState.OPEN)
    freight_cents = models.PositiveIntegerField(default=0)
    freight_by = models.CharField(max_length=8, choices=SplitBy.choices, default=SplitBy.WEIGHT)
    discount_cents = models.PositiveIntegerField(default=0)
    discount_by = models.CharField(max_length=8, choices=SplitBy.choices, default=SplitBy.VALUE)
    short_by = models.CharField(max_length=8, choices=ShortBy.choices, default=ShortBy.FIRST)
    opened_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="orders_opened")
    opened_at = models.DateTimeField(default=timezone.now)
    # The forms' own tokens: the same form sent twice finds what it did the first time.
    token = models.UUIDField(unique=True)
    arrival_token = models.UUIDField(unique=True, null=True, blank=True)
    ordered_at = models.DateTimeField(null=True, blank=True)
    arrived_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)
    cancelled_reason = models.CharField(max_length=200, blank=True)

    objects = ClubOrderQuerySet.as_manager()

    class Meta:
        ordering = ["-opened_at", "-pk"]
        permissions = [("run_orders", "Can run the club's orders")]
        indexes = [models.Index(fields=["state", "closes_at"], name="jars_order_closing")]
        constraints = [
            models.CheckConstraint(name="order_says_what_for", condition=~Q(title="")),
            models.CheckConstraint(
                name="order_that_arrived_says_when",
                condition=~Q(state__in=["arrived", "closed"])
                | Q(arrived_at__isnull=False, arrival_token__isnull=False),
            ),
            models.CheckConstraint(
                name="order_cancelled_says_why",
                condition=~Q(state="cancelled") | (Q(cancelled_at__isnull=False) & ~Q(cancelled_reason="")),
            ),
        ]

    def __str__(self) -> str:
        return self.title

    def get_absolute_url(self) -> str:
        return reverse("jars:order", args=[self.pk])

    def is_overdue(self, now: datetime) -> bool:
        """Its time is up and nobody has sent it off yet: it takes no wishes."""
        return self.state == OrderState.OPEN and self.closes_at <= now

    @property
    def has_arrived(self) -> bool:
        return self.state in (OrderState.ARRIVED, OrderState.CLOSED)


class OrderLine(models.Model):
    """One thing the supplier offers, as it is sold, and what becomes of it on arrival: `pieces` in each unit."""

    order = models.ForeignKey(ClubOrder, on_delete=models.PROTECT, related_name="lines")
    name = NameField(_("what"), max_length=ORDER_TEXT_LENGTH)
    unit = models.CharField(_("sold by the"), max_length=ORDER_UNIT_LENGTH)
    price_cents = models.PositiveIntegerField(_("price"))
    grams = models.PositiveIntegerField(_("weight in grams"), default=0)  # of one unit; 0: nobody said
    kind = models.CharField(_("kind"), max_length=8, choices=LineKind.choices)
    pieces = models.PositiveIntegerField(_("pieces in each"), default=1)
    jar_size = models.CharField(max_length=16, blank=True)
    supply = models.ForeignKey(Supply, on_delete=models.PROTECT, null=True, blank=True, related_name="order_lines")
    token = models.UUIDField(unique=True)
    # What came of it; empty until the order has arrived.
    received = models.PositiveIntegerField(null=True, blank=True)
    lid_lot = models.ForeignKey(LidLot, on_delete=models.PROTECT, null=True, blank=True, related_name="order_lines")
    supply_lot = models.ForeignKey(
        SupplyLot, on_delete=models.PROTECT, null=True, blank=True, related_name="order_lines"
    )

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(name="order_line_says_what", condition=~Q(name="") & ~Q(unit="")),
            models.CheckConstraint(name="order_line_holds_a_piece", condition=Q(pieces__gte=1)),
            models.CheckConstraint(
                name="order_line_becomes_one_thing",
                condition=Q(kind="lids", jar_size="", supply=None)
                | Q(kind="jars", jar_size__in=JAR_SIZES, supply=None)
                | Q(kind="supply", jar_size="", supply__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.unit})"


class OrderEntry(models.Model):
    """How many units of a line a member would like; `got` is what they have of it once the order arrived."""

    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="entries")
    member = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="order_entries")
    quantity = models.PositiveIntegerField()
    # The place in the line where less comes than was ordered: since when so many are wanted.
    asked_at = models.DateTimeField(default=timezone.now)
    got = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        db_table = "jars_orderwish"  # the name it was made under
        ordering = ["asked_at", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["line", "member"], name="one_wish_per_line_and_member"),
            models.CheckConstraint(name="order_wish_wants_something", condition=Q(quantity__gte=1)),
            models.CheckConstraint(
                name="nobody_gets_more_than_she_asked_for", condition=Q(got=None) | Q(got__lte=F("quantity"))
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line_id} {self.member_id}: {self.quantity}"


class OrderPayment(LedgerRow):
    """So many cents a member gave (above zero) or got back (below), as the keeper noted it. A note stays."""

    order = models.ForeignKey(ClubOrder, on_delete=models.PROTECT, related_name="payments")
    member = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="order_payments")
    cents = models.IntegerField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="order_payments_noted")

    class Meta(LedgerRow.Meta):
        constraints = [models.CheckConstraint(name="order_payment_is_something", condition=~Q(cents=0))]

    def __str__(self) -> str:
        return f"{self.order_id} {self.member_id}: {self.cents:+d}"


class OrderPickup(models.Model):
    """A member has what they ordered: once for each order."""

    order = models.ForeignKey(ClubOrder, on_delete=models.PROTECT, related_name="pickups")
    member = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="order_pickups")
    token = models.UUIDField(unique=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="order_pickups_noted")
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["order", "member"], name="one_pickup_per_order_and_member")]

    def __str__(self) -> str:
        return f"{self.order_id} {self.member_id}"


# What a page shows of an order: sums by line, and everybody's bill in a bounded number of queries.


@dataclass(frozen=True)
class LineSum:
    """One line with what is wished of it in all, by this person, and what they get."""

    line: OrderLine
    asked: int
    mine: int
    got: int | None


@dataclass(frozen=True)
class MemberSum:
    """One member's bill, what they have paid of it, and whether they have their things."""

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


def entries_of(order: ClubOrder) -> list[OrderEntry]:
    return list(OrderEntry.objects.filter(line__order=order).select_related("line__supply", "member").order_by("pk"))


def line_sums(order: ClubOrder, entries: list[OrderEntry], user: User) -> list[LineSum]:
    asked: dict[int, int] = {}
    mine: dict[int, OrderEntry] = {}
    for entry in entries:
        asked[entry.line_id] = asked.get(entry.line_id, 0) + entry.quantity
        if entry.member_id == user.pk:
            mine[entry.line_id] = entry
    sums = []
    for line in order.lines.select_related("supply", "lid_lot"):
        own = mine.get(line.pk)
        sums.append(LineSum(line, asked.get(line.pk, 0), own.quantity if own else 0, own.got if own else None))
    return sums


def bills_for(order: ClubOrder, entries: list[OrderEntry]) -> dict[int, Bill]:
    """By member: of what came, once the order has arrived; before that, of what is wished."""
    wanted = [
        Wanted(
            member=entry.member_id,
            line=entry.line_id,
            name=entry.line.name,
            unit=entry.line.unit,
            asked=entry.quantity,
            gets=entry.quantity if entry.got is None else entry.got,
            price_cents=entry.line.price_cents,
            grams=entry.line.grams,
        )
        for entry in entries
    ]
    costs = Costs(
        freight_cents=order.freight_cents,
        freight_by=SplitRule(order.freight_by),
        discount_cents=order.discount_cents,
        discount_by=SplitRule(order.discount_by),
    )
    return bills_of(wanted, costs)


def member_sums(order: ClubOrder, entries: list[OrderEntry]) -> list[MemberSum]:
    """Everybody who ordered, by name."""
    bills = bills_for(order, entries)
    paid = dict(order.payments.order_by().values_list("member").annotate(Sum("cents")))
    pickups = {pickup.member_id: pickup for pickup in order.pickups.select_related("by")}
    people = {entry.member_id: entry.member for entry in entries}
    rows = [MemberSum(people[member], bill, paid.get(member, 0), pickups.get(member)) for member, bill in bills.items()]
    return sorted(rows, key=lambda row: (row.member.name.lower(), row.member.pk))


def lines_left(order: ClubOrder, entries: list[OrderEntry]) -> list[tuple[OrderLine, int]]:
    """What came and nobody asked for, in units: it stays with the club."""
    given: dict[int, int] = {}
    for entry in entries:
        given[entry.line_id] = given.get(entry.line_id, 0) + (entry.got or 0)
    left = [(line, (line.received or 0) - given.get(line.pk, 0)) for line in order.lines.all()]
    return [(line, units) for line, units in left if units > 0]
