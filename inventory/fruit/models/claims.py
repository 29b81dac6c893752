"""A claim: how much of an offer would help somebody, and when she could come for it."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from inventory.fruit.models.offers import Offer, PickUpWindow
from inventory.fruit.offer_queries import ClaimQuerySet
from inventory.fruit.offer_words import ClaimStage
from recipes.models import Recipe


class Claim(models.Model):
    """One a person and offer, changed until it is shared. Amounts are in the offer's units."""

    offer = models.ForeignKey(Offer, on_delete=models.PROTECT, related_name="claims")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="fruit_claims")
    asked = models.PositiveIntegerField(_("would help"))
    least = models.PositiveIntegerField(_("least of use"), default=1)
    windows = models.ManyToManyField(PickUpWindow, related_name="claims")
    recipe = models.ForeignKey(Recipe, on_delete=models.SET_NULL, null=True, blank=True, related_name="fruit_claims")
    note = models.CharField(_("note to the giver"), max_length=200, blank=True)
    stage = models.CharField(max_length=10, choices=ClaimStage.choices, default=ClaimStage.OPEN)
    made_at = models.DateTimeField()
    changed_at = models.DateTimeField()

    objects = ClaimQuerySet.as_manager()

    class Meta:
        ordering = ["made_at", "pk"]
        indexes = [models.Index(fields=["person", "stage"])]
        constraints = [
            models.UniqueConstraint(fields=["offer", "person"], name="one_claim_per_offer_and_person"),
            models.CheckConstraint(
                name="claim_asks_for_its_least_or_more", condition=Q(least__gte=1, asked__gte=F("least"))
            ),
        ]

    def __str__(self) -> str:
        return f"{self.offer_id} {self.person_id} {self.asked}"
