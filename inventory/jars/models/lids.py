"""Lid lots: lids bought together, the thing to trace when seals fail; and how many of each are left."""

from __future__ import annotations

import re
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.jars.words import LidAccount, LidReason


def code_key(code: str) -> str:
    """Letters and digits only, in capitals: codes are compared without the dashes and spaces somebody typed."""
    return re.sub(r"[\W_]", "", code).upper()


class LidLotQuerySet(models.QuerySet["LidLot"]):
    def coded(self, code: str) -> LidLotQuerySet:
        """Lots whose code reads the same, whatever the case, dashes and spaces. Two makers may share a code."""
        key = code_key(code)
        return self.filter(code_key=key) if key else self.none()


class LidLot(models.Model):
    """Lids bought together. The code is what the box prints, or what the club wrote on it."""

    code = models.CharField(_("lot code on the box"), max_length=60)
    code_key = models.CharField(max_length=180, editable=False, db_index=True)
    maker = models.CharField(_("maker"), max_length=80, blank=True)
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


class LidMovement(models.Model):
    """So many lids of a lot from one account to another. Never changed; a correction is a movement of its own."""

    lot = models.ForeignKey(LidLot, on_delete=models.PROTECT, related_name="movements")
    count = models.PositiveIntegerField()
    source = models.CharField(max_length=8, choices=LidAccount.choices)
    target = models.CharField(max_length=8, choices=LidAccount.choices)
    reason = models.CharField(max_length=10, choices=LidReason.choices)
    batch = models.ForeignKey(
        "batches.Batch", on_delete=models.PROTECT, null=True, blank=True, related_name="lid_movements"
    )
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="lid_movements")
    at = models.DateTimeField(default=timezone.now)
    token = models.UUIDField(unique=True)
    corrects = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrected_by"
    )

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(name="lid_movement_moves_a_lid", condition=Q(count__gte=1)),
            models.CheckConstraint(
                name="lid_movement_between_accounts",
                condition=Q(source="on-hand", target__in=["bought", "used", "spoilt"])
                | Q(source__in=["bought", "used", "spoilt"], target="on-hand"),
            ),
            models.CheckConstraint(
                name="lid_correction_says_so",
                condition=Q(reason="corrected", corrects__isnull=False) | Q(~Q(reason="corrected"), corrects=None),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lot_id} {self.count} {self.reason}"
