"""Sealed jars that somebody can spare: the offer, its jars one by one, and who would like some.

Imported by models.py; tables of the room are named by words here, so that neither waits for the other.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.conf import settings
from django.db import models
from django.db.models import Count, F, Q
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from club.members.models import User
from inventory.batches.words import ClaimState, OfferState
from recipes.engine.quantities import JAR_SIZES

if TYPE_CHECKING:
    from inventory.batches.models import Batch, Jar


class JarOfferQuerySet(models.QuerySet["JarOffer"]):
    def open(self) -> JarOfferQuerySet:
        return self.filter(state=OfferState.OPEN)

    def sound(self) -> JarOfferQuerySet:
        """Without a jar that is called back, or whose recipe was withdrawn."""
        from inventory.batches.models import Batch

        return self.exclude(batch__in=Batch.objects.recalled())

    def visible_to(self, user: User) -> JarOfferQuerySet:
        """The gate: what is open and sound is for every member; the rest for its giver and who asked for some."""
        theirs = Q(giver=user) | Q(pk__in=JarClaim.objects.filter(person=user).values("offer"))
        return self.filter(theirs | Q(pk__in=JarOffer.objects.open().sound().values("pk")))

    def for_list(self) -> JarOfferQuerySet:
        """A row of a list: recipe, giver, and how many jars can still be had."""
        rows = self.select_related("batch__revision__recipe", "giver").defer("batch__plan", "batch__revision__content")
        free = Count("jars", filter=Q(jars__is_live=True, jars__claim=None))
        return rows.annotate(left=free).order_by("-created_at", "-pk")


class JarOffer(models.Model):
    """So many sealed jars of one size and batch. `by_choice`: the giver chooses; else who comes first has them."""

    batch: models.ForeignKey[Batch, Batch] = models.ForeignKey(
        "batches.Batch", on_delete=models.PROTECT, related_name="jar_offers"
    )
    size = models.CharField(max_length=16)
    giver = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="jar_offers")
    by_choice = models.BooleanField(_("I choose who gets them"), default=False)
    note = models.CharField(_("note"), max_length=200, blank=True)
    state = models.CharField(max_length=8, choices=OfferState.choices, default=OfferState.OPEN)
    created_at = models.DateTimeField(default=timezone.now)
    closed_at = models.DateTimeField(null=True, blank=True)
    token = models.UUIDField(unique=True, editable=False)

    objects = JarOfferQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at", "-pk"]
        constraints = [
            models.CheckConstraint(name="jar_offer_of_a_known_size", condition=Q(size__in=JAR_SIZES)),
            models.CheckConstraint(
                name="jar_offer_closed_says_when",
                condition=Q(state="open", closed_at=None) | Q(state="closed", closed_at__gte=F("created_at")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch_id} {self.size}"

    def get_absolute_url(self) -> str:
        return reverse("batches:jar-offer", args=[self.pk])


class JarClaim(models.Model):
    """Somebody would like so many. asked -> handed over, declined by the giver, or withdrawn by herself."""

    offer = models.ForeignKey(JarOffer, on_delete=models.PROTECT, related_name="claims")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="jar_claims")
    count = models.PositiveSmallIntegerField(_("jars"))
    state = models.CharField(max_length=10, choices=ClaimState.choices, default=ClaimState.ASKED)
    asked_at = models.DateTimeField(default=timezone.now)
    settled_at = models.DateTimeField(null=True, blank=True)
    token = models.UUIDField(unique=True, editable=False)

    class Meta:
        ordering = ["asked_at", "pk"]
        constraints = [
            models.CheckConstraint(name="jar_claim_asks_for_a_jar", condition=Q(count__gte=1)),
            models.UniqueConstraint(
                fields=["offer", "person"], condition=Q(state="asked"), name="one_open_claim_per_offer_and_person"
            ),
            models.CheckConstraint(
                name="jar_claim_settled_says_when",
                condition=Q(state="asked", settled_at=None) | (~Q(state="asked") & Q(settled_at__isnull=False)),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.offer_id} {self.person_id}: {self.count}"


class OfferedJar(models.Model):
    """One jar of an offer; `claim` is who it is kept for, or went to. A jar is in one live offer at most."""

    offer = models.ForeignKey(JarOffer, on_delete=models.PROTECT, related_name="jars")
    jar: models.ForeignKey[Jar, Jar] = models.ForeignKey(
        "batches.Jar", on_delete=models.PROTECT, related_name="offered"
    )
    claim = models.ForeignKey(JarClaim, on_delete=models.PROTECT, null=True, blank=True, related_name="jars")
    is_live = models.BooleanField(default=True)

    class Meta:
        ordering = ["offer", "jar"]
        constraints = [
            models.UniqueConstraint(fields=["jar"], condition=Q(is_live=True), name="one_live_offer_of_a_jar")
        ]

    def __str__(self) -> str:
        return f"{self.offer_id}/{self.jar_id}"
