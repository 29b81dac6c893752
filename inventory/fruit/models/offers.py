"""An offer: fruit that somebody can spare, when it may be picked up, and its picture."""

from __future__ import annotations

from datetime import datetime

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from inventory.fruit.containers import CONTAINERS
from inventory.fruit.offer_queries import OfferQuerySet
from inventory.fruit.offer_words import FruitState, OfferStage
from inventory.fruit.produce import OTHER, PRODUCE, produce_choices

WHERE_LENGTH, ABOUT_LENGTH, NAME_LENGTH, NOTE_LENGTH = 200, 120, 60, 500


class Offer(models.Model):
    """So many units of so many grams each: a unit is one gram where fruit is weighed out, else one container.

    open -> shared (in one or more rounds), or taken back. `version` is counted up with every write that the shares
    hang on: who writes claims or shares first takes the row by it, so that on every database one comes after another.
    `shared` counts the units of standing shares; a constraint keeps it within what is offered.
    """

    token = models.UUIDField(unique=True, editable=False)
    giver = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="fruit_offers")
    produce = models.CharField(_("what"), max_length=24, choices=produce_choices())
    name = models.CharField(_("sort, or what else it is"), max_length=NAME_LENGTH, blank=True)
    state = models.CharField(_("state"), max_length=8, choices=FruitState.choices, default=FruitState.FRESH)
    frozen_on = models.DateField(_("frozen on"), null=True, blank=True)

    container = models.CharField(max_length=12, choices=list(CONTAINERS.items()), blank=True)  # empty: by weight
    unit_g = models.PositiveIntegerField(default=1)
    weight_source = models.CharField(max_length=200, blank=True)  # where a container's weight is printed; or the giver
    units = models.PositiveIntegerField()
    kept = models.PositiveIntegerField(default=0)  # what the giver keeps back of them
    shared = models.PositiveIntegerField(default=0, editable=False)

    about_where = models.CharField(_("about where"), max_length=ABOUT_LENGTH, blank=True)  # shown to all
    where = models.CharField(_("where"), max_length=WHERE_LENGTH)  # shown to those who get a share
    use_by = models.DateField(_("best used by"))
    use_by_told = models.BooleanField(default=False)  # the giver said so; else it is our estimate
    grown = models.CharField(_("how it was grown"), max_length=200, blank=True)
    note = models.CharField(_("note"), max_length=NOTE_LENGTH, blank=True)

    closes_at = models.DateTimeField(_("claims close"))
    stage = models.CharField(max_length=12, choices=OfferStage.choices, default=OfferStage.OPEN)
    rounds = models.PositiveSmallIntegerField(default=0, editable=False)
    version = models.PositiveIntegerField(default=0, editable=False)
    created_at = models.DateTimeField(default=timezone.now)
    shared_at = models.DateTimeField(null=True, blank=True)
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_reason = models.CharField(max_length=200, blank=True)

    objects = OfferQuerySet.as_manager()

    class Meta:
        ordering = ["use_by", "pk"]
        permissions = [("run_offers", "Can see who claims, and run an offer in its giver's place")]
        indexes = [models.Index(fields=["stage", "closes_at"]), models.Index(fields=["stage", "use_by"])]
        constraints = [
            models.CheckConstraint(name="offer_of_something", condition=Q(units__gte=1, unit_g__gte=1)),
            models.CheckConstraint(
                name="offer_never_shared_out_beyond_what_is_there", condition=Q(units__gte=F("shared") + F("kept"))
            ),
            models.CheckConstraint(name="offer_by_weight_is_in_grams", condition=~Q(container="") | Q(unit_g=1)),
            models.CheckConstraint(
                name="offer_frozen_says_when",
                condition=Q(state="frozen", frozen_on__isnull=False) | (~Q(state="frozen") & Q(frozen_on=None)),
            ),
            models.CheckConstraint(name="offer_of_something_else_says_what", condition=~Q(produce=OTHER) | ~Q(name="")),
            models.CheckConstraint(
                name="offer_shared_says_when",
                condition=Q(stage="open", rounds=0) | Q(stage="taken-back") | Q(rounds__gte=1, shared_at__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return str(self.title)

    def get_absolute_url(self) -> str:
        return reverse("fruit:offer", args=[self.pk])

    @property
    def title(self) -> str | Promise:
        """ "plums", "plums, Italian", "medlars"."""
        if self.produce == OTHER:
            return self.name
        label = PRODUCE[self.produce].label
        return f"{label}, {self.name}" if self.name else label

    @property
    def grams(self) -> int:
        return self.units * self.unit_g

    @property
    def to_share(self) -> int:
        """Units that are offered in all, what is kept back left out."""
        return self.units - self.kept

    @property
    def left(self) -> int:
        """Units that nobody was promised."""
        return self.to_share - self.shared

    @property
    def is_shared(self) -> bool:
        return self.stage == OfferStage.SHARED

    def takes_claims(self, now: datetime) -> bool:
        """Until the closing moment; afterwards as long as there is something left. Pick-up windows come on top."""
        is_open = self.stage == OfferStage.OPEN and now < self.closes_at
        return is_open or (self.is_shared and self.left > 0)


class PickUpWindow(models.Model):
    """A day and hours on the club's wall clock, as people were told, and the two moments those are in UTC."""

    offer = models.ForeignKey(Offer, on_delete=models.CASCADE, related_name="windows")
    day = models.DateField()
    starts = models.TimeField()
    ends = models.TimeField()
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()

    class Meta:
        ordering = ["starts_at", "pk"]
        constraints = [
            models.CheckConstraint(name="window_ends_after_it_starts", condition=Q(ends_at__gt=F("starts_at"))),
            models.UniqueConstraint(fields=["offer", "starts_at", "ends_at"], name="one_window_per_offer_and_hours"),
        ]

    def __str__(self) -> str:
        return f"{self.day} {self.starts:%H:%M} {self.ends:%H:%M}"


class OfferPhoto(models.Model):
    """A picture, decoded and written anew as JPEG. Kept in the database: one backup holds everything."""

    offer = models.OneToOneField(Offer, on_delete=models.CASCADE, related_name="photo")
    jpeg = models.BinaryField()
    changed_at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return f"{self.offer_id} {self.changed_at:%Y-%m-%d}"
