"""Shares, and how they came about: every round of sharing out is kept as it was reckoned."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.fruit.models.claims import Claim
from inventory.fruit.models.offers import Offer, PickUpWindow
from inventory.fruit.offer_queries import ShareQuerySet
from inventory.fruit.offer_words import ShareStage


class SharingRound(models.Model):
    """One sharing out: the first, or what came back shared out again. `parts` holds inventory.fruit.sharing.Part by
    the claim's key, with what each person had this season, so that a share can be explained for ever."""

    offer = models.ForeignKey(Offer, on_delete=models.PROTECT, related_name="sharing_rounds")
    number = models.PositiveSmallIntegerField()
    at = models.DateTimeField()
    # Nobody: the clock, when claims had closed.
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    supply = models.PositiveIntegerField()
    left = models.PositiveIntegerField()
    parts: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField(default=dict)

    class Meta:
        ordering = ["offer", "number"]
        constraints = [models.UniqueConstraint(fields=["offer", "number"], name="one_round_per_offer_and_number")]

    def __str__(self) -> str:
        return f"{self.offer_id} {self.number}"


class Share(models.Model):
    """What a claim got. promised -> picked up, not picked up, or given back; a later round may add to a promise."""

    claim = models.OneToOneField(Claim, on_delete=models.PROTECT, related_name="share")
    offer = models.ForeignKey(Offer, on_delete=models.PROTECT, related_name="shares")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="fruit_shares")
    units = models.PositiveIntegerField()
    grams = models.PositiveIntegerField()
    window = models.ForeignKey(PickUpWindow, on_delete=models.PROTECT, related_name="shares")
    stage = models.CharField(_("state"), max_length=10, choices=ShareStage.choices, default=ShareStage.PROMISED)
    round_number = models.PositiveSmallIntegerField()  # the last that changed it
    promised_at = models.DateTimeField()
    changed_at = models.DateTimeField()  # when the last round gave it or added to it
    noted_at = models.DateTimeField(null=True, blank=True)
    noted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    objects = ShareQuerySet.as_manager()

    class Meta:
        ordering = ["-promised_at", "pk"]
        indexes = [models.Index(fields=["person", "stage", "promised_at"]), models.Index(fields=["stage", "window"])]
        constraints = [
            models.CheckConstraint(name="share_of_something", condition=Q(units__gte=1, grams__gte=1)),
            models.CheckConstraint(
                name="share_noted_by_whom_and_when",
                condition=Q(stage="promised", noted_at=None, noted_by=None)
                | (~Q(stage="promised") & Q(noted_at__isnull=False, noted_by__isnull=False)),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.offer_id} {self.person_id} {self.units}"
