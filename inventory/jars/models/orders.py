"""A club order: what members pool to buy, who wants how much of it, what came, who has paid and who has hers."""

from __future__ import annotations

from datetime import datetime

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.jars.models.lids import LidLot
from inventory.jars.models.supplies import Supply, SupplyLot
from inventory.jars.order_queries import ClubOrderQuerySet
from inventory.jars.words import LineKind, OrderState, ShortBy, SplitBy
from recipes.engine.quantities import JAR_SIZES


class ClubOrder(models.Model):
    """open -> ordered -> arrived -> closed; open or ordered -> cancelled. Wishes change while it is open, not after."""

    title = models.CharField(_("what for"), max_length=120)
    supplier = models.CharField(_("supplier"), max_length=120, blank=True)
    note = models.CharField(_("note"), max_length=400, blank=True)
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
    name = models.CharField(_("what"), max_length=120)
    unit = models.CharField(_("sold by the"), max_length=40)
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


class OrderWish(models.Model):
    """How many units of a line a member would like; `got` is what she has of it once the order arrived."""

    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="wishes")
    member = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="order_wishes")
    quantity = models.PositiveIntegerField()
    # The place in the line where less comes than was ordered: since when so many are wanted.
    asked_at = models.DateTimeField(default=timezone.now)
    got = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
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


class OrderPayment(models.Model):
    """So many cents a member gave (above zero) or got back (below), as the keeper noted it. A note stays."""

    order = models.ForeignKey(ClubOrder, on_delete=models.PROTECT, related_name="payments")
    member = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="order_payments")
    cents = models.IntegerField()
    note = models.CharField(max_length=200, blank=True)
    token = models.UUIDField(unique=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="order_payments_noted")
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-pk"]
        constraints = [models.CheckConstraint(name="order_payment_is_something", condition=~Q(cents=0))]

    def __str__(self) -> str:
        return f"{self.order_id} {self.member_id}: {self.cents:+d}"


class OrderPickup(models.Model):
    """A member has what she ordered: once for each order."""

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
