"""Supplies by count: pectin with its use-by, citric acid, vinegar with its strength. Lots are used earliest first."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.jars.queries import SupplyLotQuerySet, SupplyQuerySet
from inventory.jars.words import SupplyReason


class Supply(models.Model):
    """One kind of thing on the shelf, what it is counted in, and when to buy more."""

    name = models.CharField(_("name"), max_length=80)
    unit = models.CharField(_("counted in"), max_length=30, help_text=_("For instance: packets, bottles of 1 l."))
    low_level = models.PositiveIntegerField(_("low from"), default=0, help_text=_("At this many, or fewer, buy more."))
    is_vinegar = models.BooleanField(_("a vinegar: its strength is on the label"), default=False)
    # Since when there is too little; empty while there is enough. A reminder is due once for each time it runs low.
    low_since = models.DateTimeField(null=True, blank=True, editable=False)

    objects = SupplyQuerySet.as_manager()

    class Meta:
        ordering = [Lower("name"), "pk"]
        constraints = [
            models.UniqueConstraint(Lower("name"), name="one_supply_per_name"),
            models.CheckConstraint(name="supply_has_a_name", condition=~Q(name="") & ~Q(unit="")),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("jars:supply", args=[self.pk])


class SupplyLot(models.Model):
    """What was bought together: one use-by, one strength."""

    supply = models.ForeignKey(Supply, on_delete=models.PROTECT, related_name="lots")
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
        ]

    def __str__(self) -> str:
        return f"{self.supply_id} {self.use_by or ''}"

    @property
    def strength_text(self) -> str:
        """In percent of acid: "5", "5.5"; empty for what is no vinegar."""
        return "" if self.strength_tenths is None else f"{self.strength_tenths / 10:g}"


class SupplyMovement(models.Model):
    """So many more or fewer of a lot, and why. Never changed; a correction is a movement of its own."""

    lot = models.ForeignKey(SupplyLot, on_delete=models.PROTECT, related_name="movements")
    change = models.IntegerField()
    reason = models.CharField(max_length=10, choices=SupplyReason.choices)
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="supply_movements")
    at = models.DateTimeField(default=timezone.now)
    token = models.UUIDField(unique=True)
    corrects = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrected_by"
    )

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(name="supply_movement_changes_something", condition=~Q(change=0)),
            models.CheckConstraint(
                name="supply_correction_says_so",
                condition=Q(reason="corrected", corrects__isnull=False) | Q(~Q(reason="corrected"), corrects=None),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lot_id} {self.change:+d}"
