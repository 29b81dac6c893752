"""What was put up: a batch, its jars one by one, and each look at their seals."""

from __future__ import annotations

from datetime import datetime
from fractions import Fraction
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from club.members.models import Kitchen
from inventory.batches.offer_models import JarClaim, JarOffer, OfferedJar
from inventory.batches.queries import BatchQuerySet, JarQuerySet
from inventory.batches.recall_models import Recall, RecallAnswer
from inventory.batches.rules import Phase, SealWindow, phase, seal_window
from inventory.batches.words import BatchState, Disposal, Seal
from inventory.jars.models import LidLot
from recipes.engine.terms import Altitude
from recipes.models import Revision


class Batch(models.Model):
    """Pots jarred together in one kitchen on one day from one revision.

    `plan` is the engine's plan as it stood when the batch was started; the columns beside it repeat what
    the process must reach, so that a later change of the kitchen's altitude cannot rewrite history.

    started -> out (cooling, seals to check) -> checked, and back to out once when jars are reprocessed.
    A freezer recipe goes started -> frozen. Anything on the stove may be given up.
    """

    lot_code = models.CharField(_("lot code"), max_length=16, unique=True)
    # The start form's own token: the same form sent twice finds the batch it made the first time.
    token = models.UUIDField(unique=True)
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="batches")
    kitchen = models.ForeignKey(Kitchen, on_delete=models.PROTECT, related_name="batches")
    # Whose jars they are: she takes them home, looks at their seals and is reminded of it.
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="batches")
    # Who pressed Start, where that was somebody else, such as the instructor of a class. Empty: she herself.
    started_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="batches_started"
    )
    state = models.CharField(max_length=12, choices=BatchState.choices, default=BatchState.STARTED)
    plan: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField()

    pots = models.PositiveSmallIntegerField(_("pots"))
    # Of the printed amounts, for each pot, as an exact fraction ("1/2"): a scaled pot fills fewer jars.
    pot_scale = models.CharField(max_length=80, default="1")
    altitude_m = models.DecimalField(max_digits=9, decimal_places=4)
    canner = models.CharField(max_length=16, blank=True)  # empty, as the pack: kept in the freezer
    pack = models.CharField(max_length=16, blank=True)
    jar_size = models.CharField(max_length=16)  # the largest the process covers
    required_minutes = models.PositiveSmallIntegerField(null=True, blank=True)  # none: kept in the freezer
    required_psi = models.PositiveSmallIntegerField(null=True, blank=True)

    # Whether unsealed jars may be processed again at all (see needs.py); a pie filling's never are.
    is_reprocessable = models.BooleanField(default=True)

    created_at = models.DateTimeField(default=timezone.now)
    started_at = models.DateTimeField(_("cooking began"), default=timezone.now)
    process_started_at = models.DateTimeField(_("process began"), null=True, blank=True)
    processed_minutes = models.PositiveSmallIntegerField(_("minutes processed"), null=True, blank=True)
    processed_psi = models.DecimalField(_("pressure held (psi)"), max_digits=4, decimal_places=1, null=True, blank=True)
    jars_out_at = models.DateTimeField(_("jars came out"), null=True, blank=True)
    lid_lot = models.ForeignKey(LidLot, on_delete=models.PROTECT, null=True, blank=True, related_name="batches")

    # One reprocess at most, of the jars that did not seal; each jar says which lid sits on it now.
    reprocessed_minutes = models.PositiveSmallIntegerField(null=True, blank=True)
    reprocessed_psi = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    reprocessed_out_at = models.DateTimeField(null=True, blank=True)

    checked_at = models.DateTimeField(null=True, blank=True)
    note = models.TextField(_("notes"), blank=True)
    abandoned_at = models.DateTimeField(null=True, blank=True)
    abandoned_reason = models.CharField(max_length=200, blank=True)

    objects = BatchQuerySet.as_manager()

    class Meta:
        ordering = ["-started_at", "-pk"]
        permissions = [
            ("trace_batch", "Can trace any batch by its lot code"),
            ("start_for_others", "Can start a batch whose jars are somebody else's"),
        ]
        indexes = [models.Index(fields=["state", "jars_out_at"])]
        constraints = [
            models.CheckConstraint(name="batch_has_a_pot", condition=Q(pots__gte=1)),
            models.CheckConstraint(
                name="batch_started_by_another_or_nobody", condition=Q(started_by=None) | ~Q(started_by=F("made_by"))
            ),
            models.CheckConstraint(
                name="batch_out_has_its_process_log",
                condition=~Q(state__in=["out", "checked"])
                | Q(
                    required_minutes__isnull=False,
                    processed_minutes__isnull=False,
                    jars_out_at__isnull=False,
                    lid_lot__isnull=False,
                ),
            ),
            models.CheckConstraint(
                name="batch_under_pressure_has_its_pressure_log",
                condition=~Q(state__in=["out", "checked"]) | Q(required_psi=None) | Q(processed_psi__isnull=False),
            ),
            models.CheckConstraint(
                name="batch_in_the_freezer_needs_no_process",
                condition=~Q(state="frozen") | Q(required_minutes=None, jars_out_at__isnull=False),
            ),
            models.CheckConstraint(
                name="batch_never_processed_below_the_tested_minutes",
                condition=Q(processed_minutes=None) | Q(processed_minutes__gte=F("required_minutes")),
            ),
            models.CheckConstraint(
                name="batch_never_processed_below_the_tested_pressure",
                condition=Q(processed_psi=None) | Q(processed_psi__gte=F("required_psi")),
            ),
            models.CheckConstraint(
                name="batch_reprocessed_in_full",
                condition=Q(reprocessed_out_at=None, reprocessed_minutes=None, reprocessed_psi=None)
                | Q(
                    # A comparison with nothing is no refusal to a database: hence the explicit "not null".
                    Q(required_psi=None) | Q(reprocessed_psi__isnull=False, reprocessed_psi__gte=F("required_psi")),
                    reprocessed_minutes__isnull=False,
                    reprocessed_minutes__gte=F("required_minutes"),
                    reprocessed_out_at__gt=F("jars_out_at"),
                ),
            ),
            models.CheckConstraint(
                name="batch_jars_never_out_before_it_began",
                condition=Q(jars_out_at=None) | Q(jars_out_at__gte=F("started_at")),
            ),
            models.CheckConstraint(
                name="batch_given_up_says_why",
                condition=~Q(state="abandoned") | (Q(abandoned_at__isnull=False) & ~Q(abandoned_reason="")),
            ),
        ]

    def __str__(self) -> str:
        return self.lot_code

    def get_absolute_url(self) -> str:
        return reverse("batches:detail", args=[self.lot_code])

    @property
    def title(self) -> str:
        return self.revision.recipe.title

    @property
    def altitude(self) -> Altitude:
        """Of the kitchen on the day, whatever is said of it since."""
        return Altitude(metres=Fraction(self.altitude_m))

    @property
    def printed_pots(self) -> Fraction:
        """How many times the printed recipe was cooked in all."""
        return self.pots * Fraction(self.pot_scale)

    @property
    def is_frozen_kind(self) -> bool:
        """Made to be kept in the freezer: no process, and no seals to look at."""
        return self.required_minutes is None

    @property
    def last_out_at(self) -> datetime | None:
        """When the jars that still want a look last came out of a canner."""
        return self.reprocessed_out_at or self.jars_out_at

    @property
    def window(self) -> SealWindow | None:
        """The seal window that runs now; none where there are no seals to look at."""
        if self.is_frozen_kind or self.last_out_at is None:
            return None
        return seal_window(self.last_out_at)

    @property
    def reprocess_until(self) -> datetime | None:
        """When reprocessing lapses, counted from the first time the jars came out.

        None where no jar may be reprocessed (any more), whatever the hour; `needs.reprocess_refusal` says why.
        """
        used = self.reprocessed_out_at is not None
        if self.is_frozen_kind or not self.is_reprocessable or used or self.jars_out_at is None:
            return None
        return seal_window(self.jars_out_at).reprocess_until

    def phase_at(self, now: datetime) -> Phase | None:
        """Where the seal window stands while seals are still to be looked at."""
        return phase(self.window, now) if self.window and self.state == BatchState.OUT else None


class Jar(models.Model):
    """One jar of a batch, numbered from one. An empty `disposal` means that it is still to be looked at."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="jars")
    number = models.PositiveSmallIntegerField()
    size = models.CharField(max_length=16)
    seal = models.CharField(max_length=10, choices=Seal.choices, default=Seal.UNCHECKED)
    disposal = models.CharField(max_length=12, choices=Disposal.choices, blank=True)
    place = models.ForeignKey(Kitchen, on_delete=models.PROTECT, related_name="jars")
    lid_lot = models.ForeignKey(LidLot, on_delete=models.PROTECT, null=True, blank=True, related_name="jars")
    # The lot of the first lid, where that one failed and the jar was reprocessed under another.
    failed_lid_lot = models.ForeignKey(
        LidLot, on_delete=models.PROTECT, null=True, blank=True, related_name="jars_failed"
    )
    # The member it was handed over to; empty: it stays with the people of the kitchen.
    held_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="jars_held"
    )

    objects = JarQuerySet.as_manager()

    class Meta:
        ordering = ["batch", "number"]
        constraints = [
            models.UniqueConstraint(fields=["batch", "number"], name="one_jar_per_number"),
            models.CheckConstraint(
                name="jar_stands_where_its_seal_allows",
                condition=Q(seal="unchecked", disposal="")
                # Thrown away: after a recall.
                | Q(seal="sealed", disposal__in=["", "shelf", "discard"])
                | Q(seal="unsealed", disposal__in=["", "reprocess", "refrigerate", "freeze", "discard"])
                | Q(seal="broken", disposal="discard")
                | Q(seal="none", disposal__in=["freeze", "discard"]),
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


__all__ = [
    "Batch",
    "BatchState",
    "Disposal",
    "Jar",
    "JarClaim",
    "JarOffer",
    "OfferedJar",
    "Recall",
    "RecallAnswer",
    "Seal",
    "SealCheck",
]
