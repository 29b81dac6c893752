"""What was put up: a batch, its jars one by one, and each look at their seals."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from club.members.models import Kitchen
from inventory.jars.models import LidLot
from recipes.models import Revision


class BatchState(models.TextChoices):
    STARTED = "started", _("on the stove")
    OUT = "out", _("cooling, seals to check")
    CHECKED = "checked", _("seals checked")
    ABANDONED = "abandoned", _("given up")


class BatchQuerySet(models.QuerySet["Batch"]):
    def visible_to(self, user: Any) -> BatchQuerySet:
        """The gate: one's own batches and those of one's own kitchens; those who may trace see all."""
        if user.has_perm("batches.trace_batch"):
            return self
        return self.filter(Q(made_by=user) | Q(kitchen__people=user)).distinct()


class Batch(models.Model):
    """Pots jarred together in one kitchen on one day from one revision.

    `plan` is the engine's plan as it stood when the batch was started; the columns beside it repeat what
    the process must reach, so that a later change of the kitchen's altitude cannot rewrite history.
    """

    lot_code = models.CharField(_("lot code"), max_length=16, unique=True)
    # The start form's own token: the same form sent twice finds the batch it made the first time.
    token = models.UUIDField(unique=True)
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="batches")
    kitchen = models.ForeignKey(Kitchen, on_delete=models.PROTECT, related_name="batches")
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="batches")
    state = models.CharField(max_length=12, choices=BatchState.choices, default=BatchState.STARTED)
    plan: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField()

    pots = models.PositiveSmallIntegerField(_("pots"))
    altitude_m = models.DecimalField(max_digits=9, decimal_places=4)
    canner = models.CharField(max_length=16)
    pack = models.CharField(max_length=8)
    jar_size = models.CharField(max_length=16)
    required_minutes = models.PositiveSmallIntegerField(null=True, blank=True)  # none: kept in the freezer
    required_psi = models.PositiveSmallIntegerField(null=True, blank=True)

    started_at = models.DateTimeField(default=timezone.now)
    processed_minutes = models.PositiveSmallIntegerField(_("minutes processed"), null=True, blank=True)
    processed_psi = models.DecimalField(_("pressure held (psi)"), max_digits=4, decimal_places=1, null=True, blank=True)
    jars_out_at = models.DateTimeField(_("jars came out"), null=True, blank=True)
    lid_lot = models.ForeignKey(LidLot, on_delete=models.PROTECT, null=True, blank=True, related_name="batches")
    checked_at = models.DateTimeField(null=True, blank=True)
    note = models.TextField(_("notes"), blank=True)
    abandoned_reason = models.CharField(max_length=200, blank=True)

    objects = BatchQuerySet.as_manager()

    class Meta:
        ordering = ["-started_at", "-pk"]
        permissions = [("trace_batch", "Can trace any batch by its lot code")]
        indexes = [models.Index(fields=["state", "jars_out_at"])]
        constraints = [
            models.CheckConstraint(name="batch_has_a_pot", condition=Q(pots__gte=1)),
            models.CheckConstraint(
                name="batch_out_has_its_process_log",
                condition=~Q(state__in=["out", "checked"])
                | Q(required_minutes=None, jars_out_at__isnull=False)
                | Q(jars_out_at__isnull=False, processed_minutes__isnull=False, lid_lot__isnull=False),
            ),
            models.CheckConstraint(
                name="batch_never_processed_below_the_tested_minutes",
                condition=Q(processed_minutes=None)
                | Q(required_minutes=None)
                | Q(processed_minutes__gte=F("required_minutes")),
            ),
            models.CheckConstraint(
                name="batch_never_processed_below_the_tested_pressure",
                condition=Q(processed_psi=None) | Q(required_psi=None) | Q(processed_psi__gte=F("required_psi")),
            ),
        ]

    def __str__(self) -> str:
        return self.lot_code


class Seal(models.TextChoices):
    UNCHECKED = "unchecked", _("not looked at yet")
    SEALED = "sealed", _("sealed")
    UNSEALED = "unsealed", _("unsealed")
    BROKEN = "broken", _("broken")


class Disposal(models.TextChoices):
    SHELF = "shelf", _("on the shelf")
    REPROCESS = "reprocess", _("to be reprocessed")
    REFRIGERATE = "refrigerate", _("in the refrigerator")
    FREEZE = "freeze", _("in the freezer")
    DISCARD = "discard", _("thrown away")


class Jar(models.Model):
    """One jar of a batch, numbered from one."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="jars")
    number = models.PositiveSmallIntegerField()
    size = models.CharField(max_length=16)
    seal = models.CharField(max_length=10, choices=Seal.choices, default=Seal.UNCHECKED)
    disposal = models.CharField(max_length=12, choices=Disposal.choices, blank=True)
    place = models.ForeignKey(Kitchen, on_delete=models.PROTECT, related_name="jars")

    class Meta:
        ordering = ["batch", "number"]
        constraints = [
            models.UniqueConstraint(fields=["batch", "number"], name="one_jar_per_number"),
            models.CheckConstraint(
                name="only_a_sealed_jar_stands_on_the_shelf",
                condition=~Q(disposal="shelf") | Q(seal="sealed"),
            ),
            models.CheckConstraint(
                name="broken_jar_is_thrown_away",
                condition=~Q(seal="broken") | Q(disposal="discard"),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch_id}/{self.number}"


class SealCheck(models.Model):
    """One look at a batch's seals: who, when, and what was counted then."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="seal_checks")
    token = models.UUIDField(unique=True)
    checked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="seal_checks")
    checked_at = models.DateTimeField()
    was_early = models.BooleanField(default=False)
    sealed = models.PositiveSmallIntegerField()
    unsealed = models.PositiveSmallIntegerField()
    broken = models.PositiveSmallIntegerField()
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-checked_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.batch_id} {self.checked_at:%Y-%m-%d %H:%M}"
