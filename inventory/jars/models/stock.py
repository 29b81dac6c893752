"""Lids by lot and supplies by count, and how many of each are left."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, OuterRef, Q, Subquery, Sum
from django.db.models.functions import Coalesce, Lower
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.core.fields import NameField
from club.core.ledger import CorrectableRow, correction_constraint
from club.members.models import Kitchen, User
from inventory.jars.choices import LidAccount, LidReason, SupplyKind, SupplyReason
from inventory.jars.rules import (
    LID_CODE_LENGTH,
    LID_MAKER_LENGTH,
    SUPPLY_CODE_LENGTH,
    SUPPLY_NAME_LENGTH,
    SUPPLY_UNIT_LENGTH,
    WEAKEST_VINEGAR_TENTHS,
)

# Lid lots: lids bought together, the thing to trace when seals fail; and how many of each are left.


def code_key(code: str) -> str:
    """Letters and digits only, in capitals: codes are compared without the dashes and spaces somebody typed."""
    return re.sub(r"[\W_]", "", code).upper()


class LidLotQuerySet(models.QuerySet["LidLot"]):
    def coded(self, code: str) -> LidLotQuerySet:
        """Lots whose code reads the same, whatever the case, dashes and spaces. Two makers may share a code."""
        key = code_key(code)
        return self.filter(code_key=key) if key else self.none()

    def coded_about(self, code: str) -> LidLotQuerySet:
        """Lots whose code holds these letters and figures; at least three of them."""
        key = code_key(code)
        return self.filter(code_key__contains=key) if len(key) >= 3 else self.none()


class LidLot(models.Model):
    """Lids bought together. The code is what the box prints, or what the club wrote on it."""

    code = models.CharField(_("lot code on the box"), max_length=LID_CODE_LENGTH)
    code_key = models.CharField(max_length=180, editable=False, db_index=True)
    maker = models.CharField(_("maker"), max_length=LID_MAKER_LENGTH, blank=True)
    bought_on = models.DateField(_("bought on"), null=True, blank=True)
    note = models.CharField(_("note"), max_length=200, blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    objects = LidLotQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at", "-pk"]
        constraints = [
            models.UniqueConstraint("code_key", Lower("maker"), name="one_lid_lot_per_code_and_maker"),
            models.CheckConstraint(name="lid_lot_has_a_code", condition=~Q(code_key="")),
        ]

    def __str__(self) -> str:
        return f"{self.code} ({self.maker})" if self.maker else self.code

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.code_key = code_key(self.code)
        if "update_fields" in kwargs and kwargs["update_fields"] is not None:
            kwargs["update_fields"] = {*kwargs["update_fields"], "code_key"}
        super().save(*args, **kwargs)


class LidStock(models.Model):
    """How many lids of a lot were bought, used and spoilt, and how many that leaves."""

    lot = models.OneToOneField(LidLot, on_delete=models.PROTECT, primary_key=True, related_name="stock")
    bought = models.IntegerField(default=0)
    used = models.IntegerField(default=0)
    spoilt = models.IntegerField(default=0)
    on_hand = models.IntegerField(default=0)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="lids_never_below_zero", condition=Q(bought__gte=0, used__gte=0, spoilt__gte=0, on_hand__gte=0)
            ),
            models.CheckConstraint(name="lids_add_up", condition=Q(bought=F("used") + F("spoilt") + F("on_hand"))),
        ]

    def __str__(self) -> str:
        return f"{self.lot_id}: {self.on_hand}"


class LidMovement(CorrectableRow):
    """So many lids of a lot from one account to another. Never changed; a correction is a movement of its own."""

    lot = models.ForeignKey(LidLot, on_delete=models.PROTECT, related_name="movements")
    count = models.PositiveIntegerField()
    source = models.CharField(max_length=8, choices=LidAccount.choices)
    target = models.CharField(max_length=8, choices=LidAccount.choices)
    reason = models.CharField(max_length=10, choices=LidReason.choices)
    batch = models.ForeignKey(
        "batches.Batch", on_delete=models.PROTECT, null=True, blank=True, related_name="lid_movements"
    )
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="lid_movements")

    class Meta(CorrectableRow.Meta):
        constraints = [
            models.CheckConstraint(name="lid_movement_moves_a_lid", condition=Q(count__gte=1)),
            models.CheckConstraint(
                name="lid_movement_between_accounts",
                condition=Q(source="on-hand", target__in=["bought", "used", "spoilt"])
                | Q(source__in=["bought", "used", "spoilt"], target="on-hand"),
            ),
            correction_constraint("lid_correction_says_so"),
        ]

    def __str__(self) -> str:
        return f"{self.lot_id} {self.count} {self.reason}"


# Supplies by count: pectin with its use-by, citric acid, vinegar with its strength. Lots are used earliest first.
#
# A lot is the same lot wherever its bottles stand: the club's own are counted beside the lot, a household's in a
# `KitchenStock`. So a recall of the lot reaches both.


class SupplyQuerySet(models.QuerySet["Supply"]):
    def kept(self) -> SupplyQuerySet:
        """What the club keeps; the others are known from the shelves of households alone."""
        return self.filter(is_kept=True)

    def in_order(self) -> SupplyQuerySet:
        """Asked for again after counting, which drops the model's own order."""
        return self.order_by(Lower("name"), "pk")

    def with_counts(self, today: date) -> SupplyQuerySet:
        """How many can be used today, vinegar that is weak or of unknown strength left out; how many are past their
        date."""
        fresh = Q(lots__use_by=None) | Q(lots__use_by__gte=today)
        strong = ~Q(kind=SupplyKind.VINEGAR) | Q(lots__strength_tenths__gte=WEAKEST_VINEGAR_TENTHS)
        return self.annotate(
            usable=Coalesce(Sum("lots__count", filter=fresh & strong), 0),
            past=Coalesce(Sum("lots__count", filter=Q(lots__use_by__lt=today)), 0),
        )


class Supply(models.Model):
    """One kind of thing on the shelf, what it is counted in, and when to buy more."""

    name = NameField(_("name"), max_length=SUPPLY_NAME_LENGTH)
    unit = models.CharField(
        _("counted in"), max_length=SUPPLY_UNIT_LENGTH, help_text=_("For instance: packets, bottles of 1 l.")
    )
    low_level = models.PositiveIntegerField(_("low from"), default=0, help_text=_("At this many, or fewer, buy more."))
    kind = models.CharField(
        _("what it is"),
        max_length=12,
        choices=SupplyKind.choices,
        default=SupplyKind.OTHER,
        help_text=_("A vinegar has its strength on the label."),
    )
    # False: a household named it when it noted a bottle of its own; the club neither counts it nor runs low of it.
    is_kept = models.BooleanField(default=True, editable=False)
    # Since when there is too little; empty while there is enough. A reminder is due once for each time it runs low.
    low_since = models.DateTimeField(null=True, blank=True, editable=False)

    objects = SupplyQuerySet.as_manager()

    class Meta:
        ordering = [Lower("name"), "pk"]
        constraints = [
            models.UniqueConstraint(Lower("name"), name="one_supply_per_name"),
            models.CheckConstraint(name="supply_has_a_name", condition=~Q(name="") & ~Q(unit="")),
            models.CheckConstraint(name="supply_of_a_known_kind", condition=Q(kind__in=SupplyKind.values)),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_vinegar(self) -> bool:
        return self.kind == SupplyKind.VINEGAR

    def get_absolute_url(self) -> str:
        return reverse("jars:supply", args=[self.pk])


def is_low(supply: Supply) -> bool:
    """Of a row of `with_counts`: too little is left that can be used."""
    usable: int = supply.usable  # type: ignore[attr-defined]
    return usable <= supply.low_level


class SupplyLotQuerySet(models.QuerySet["SupplyLot"]):
    def there(self) -> SupplyLotQuerySet:
        return self.filter(count__gt=0)

    def use_first(self) -> SupplyLotQuerySet:
        """The earliest use-by first; what has none, last."""
        return self.order_by(F("use_by").asc(nulls_last=True), "pk")

    def past(self, today: date) -> SupplyLotQuerySet:
        return self.there().filter(use_by__lt=today)

    def coded(self, code: str) -> SupplyLotQuerySet:
        """Lots whose printed code reads the same, whatever the case, dashes and spaces."""
        key = code_key(code)
        return self.filter(code_key=key) if key else self.none()

    def at_hand(self, kitchen: Kitchen) -> SupplyLotQuerySet:
        """What stands in that kitchen or in the club's store; `in_kitchen` of a row is the kitchen's own count."""
        here = KitchenStock.objects.filter(lot=OuterRef("pk"), kitchen=kitchen).values("count")
        counted = self.annotate(in_kitchen=Coalesce(Subquery(here), 0))
        return counted.filter(Q(count__gt=0) | Q(in_kitchen__gt=0)).select_related("supply")

    def sound(self) -> SupplyLotQuerySet:
        """Neither called back nor a vinegar too weak to preserve with, or of unknown strength."""
        strong = ~Q(supply__kind=SupplyKind.VINEGAR) | Q(strength_tenths__gte=WEAKEST_VINEGAR_TENTHS)
        return self.filter(strong).exclude(pk__in=SupplyLot.objects.called_back().values("pk"))

    def called_back(self) -> SupplyLotQuerySet:
        """Lots with a recall that was not cleared; the room above is named by its field here, and not imported."""
        return self.filter(recalls__is_cleared=False)

    def known_to(self, user: User) -> SupplyLotQuerySet:
        """The gate: what the club has or had, and what stood in a kitchen of theirs."""
        theirs = KitchenStock.objects.filter(kitchen__in=Kitchen.objects.usable_by(user))
        return self.filter(Q(supply__is_kept=True) | Q(pk__in=theirs.values("lot")))


class SupplyLot(models.Model):
    """What was bought together: one code, one use-by, one strength. `count` are those in the club's own store."""

    supply = models.ForeignKey(Supply, on_delete=models.PROTECT, related_name="lots")
    # As the bottle or packet prints it; empty where nobody could read one.
    code = models.CharField(_("lot code on it"), max_length=SUPPLY_CODE_LENGTH, blank=True)
    code_key = models.CharField(max_length=180, editable=False, blank=True, db_index=True)
    use_by = models.DateField(_("use by"), null=True, blank=True)
    strength_tenths = models.PositiveSmallIntegerField(null=True, blank=True)  # of a percent of acid: 5 % is 50
    note = models.CharField(_("note"), max_length=200, blank=True)
    count = models.IntegerField(default=0)
    created_at = models.DateTimeField(default=timezone.now)

    objects = SupplyLotQuerySet.as_manager()

    class Meta:
        ordering = ["use_by", "pk"]
        indexes = [models.Index(fields=["use_by"], condition=Q(count__gt=0), name="jars_supply_use_by")]
        constraints = [
            models.CheckConstraint(name="supply_never_below_zero", condition=Q(count__gte=0)),
            models.CheckConstraint(
                name="strength_is_a_percentage", condition=Q(strength_tenths=None) | Q(strength_tenths__lte=1000)
            ),
            models.UniqueConstraint(
                fields=["supply", "code_key"], condition=~Q(code_key=""), name="one_supply_lot_per_code"
            ),
        ]

    def __str__(self) -> str:
        """ "Cider vinegar, lot A123", "Pectin, use by 2027-03-31"; reads the supply."""
        if self.code:
            return gettext("%(what)s, lot %(code)s") % {"what": self.supply, "code": self.code}
        if self.use_by:
            return gettext("%(what)s, use by %(day)s") % {"what": self.supply, "day": self.use_by}
        return str(self.supply)

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.code_key = code_key(self.code)
        if "update_fields" in kwargs and kwargs["update_fields"] is not None:
            kwargs["update_fields"] = {*kwargs["update_fields"], "code_key"}
        super().save(*args, **kwargs)

    @property
    def strength_text(self) -> str:
        """In percent of acid: "5", "5.5"; empty for what is no vinegar."""
        return "" if self.strength_tenths is None else f"{self.strength_tenths / 10:g}"

    @property
    def is_weak(self) -> bool:
        """A vinegar too weak to preserve with."""
        return self.strength_tenths is not None and self.strength_tenths < WEAKEST_VINEGAR_TENTHS


class KitchenStockQuerySet(models.QuerySet["KitchenStock"]):
    def at_home_with(self, user: User) -> KitchenStockQuerySet:
        """The gate: what stands in the kitchens of a person's own household."""
        there = self.filter(count__gt=0, kitchen__people=user).select_related("lot__supply", "kitchen")
        return there.order_by("kitchen__name", "lot__supply__name", "pk")


class KitchenStock(models.Model):
    """How many of a lot a household has in its own kitchen."""

    lot = models.ForeignKey(SupplyLot, on_delete=models.PROTECT, related_name="kitchen_stocks")
    kitchen = models.ForeignKey(Kitchen, on_delete=models.PROTECT, related_name="supply_stocks")
    count = models.IntegerField(default=0)

    objects = KitchenStockQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["lot", "kitchen"], name="one_stock_of_a_lot_per_kitchen"),
            models.CheckConstraint(name="kitchen_stock_never_below_zero", condition=Q(count__gte=0)),
        ]

    def __str__(self) -> str:
        return f"{self.lot_id} {self.kitchen_id}: {self.count}"


class SupplyMovement(CorrectableRow):
    """So many more or fewer of a lot, and why. Never changed; a correction is a movement of its own.

    `kitchen` says whose shelf it is: a household's, or empty for the club's store. `batch` is what it was used for.
    """

    lot = models.ForeignKey(SupplyLot, on_delete=models.PROTECT, related_name="movements")
    kitchen = models.ForeignKey(
        Kitchen, on_delete=models.PROTECT, null=True, blank=True, related_name="supply_movements"
    )
    batch = models.ForeignKey(
        "batches.Batch", on_delete=models.PROTECT, null=True, blank=True, related_name="supply_movements"
    )
    change = models.IntegerField()
    reason = models.CharField(max_length=10, choices=SupplyReason.choices)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="supply_movements")

    class Meta(CorrectableRow.Meta):
        constraints = [
            models.CheckConstraint(name="supply_movement_changes_something", condition=~Q(change=0)),
            correction_constraint("supply_correction_says_so"),
        ]

    def __str__(self) -> str:
        return f"{self.lot_id} {self.change:+d}"
