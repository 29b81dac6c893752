"""What lies in a household's freezer, and every time some of it was taken out."""

from __future__ import annotations

from datetime import date

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from club.members.models import Kitchen, User
from inventory.fruit.freezer_rules import Keeping, keeping


class FreezerState(models.TextChoices):
    FRUIT = "fruit", _("fruit")
    JUICE = "juice", _("juice")
    PUREE = "puree", _("purée")


class TakenFor(models.TextChoices):
    USED = "used", _("used")
    THROWN_AWAY = "thrown-away", _("thrown away")
    MISCOUNTED = "miscounted", _("was never there")


class FreezerQuerySet(models.QuerySet["FreezerItem"]):
    def visible_to(self, user: User) -> FreezerQuerySet:
        """The gate: a freezer is its household's own affair, whatever office somebody else holds."""
        return self.filter(kitchen__in=Kitchen.objects.usable_by(user))

    def there(self) -> FreezerQuerySet:
        return self.filter(grams_left__gt=0)

    def oldest_first(self) -> FreezerQuerySet:
        return self.order_by("frozen_on", "pk").select_related("kitchen", "put_in_by")


class FreezerItem(models.Model):
    """One lot: the same fruit, frozen on one day. Weights in whole grams; bags are counted where somebody did."""

    kitchen = models.ForeignKey(Kitchen, on_delete=models.PROTECT, related_name="freezer_items")
    freezer = models.CharField(_("which freezer"), max_length=60, blank=True)
    what = models.CharField(_("what"), max_length=80)
    produce = models.CharField(max_length=60, blank=True)  # the recipes' own word, where `what` is one
    state = models.CharField(_("kept as"), max_length=8, choices=FreezerState.choices, default=FreezerState.FRUIT)
    with_sugar = models.BooleanField(_("frozen with sugar"), default=False)
    frozen_on = models.DateField(_("frozen on"))
    grams = models.PositiveIntegerField(_("grams"))
    grams_left = models.PositiveIntegerField()
    bags = models.PositiveSmallIntegerField(_("bags or boxes"), null=True, blank=True)
    bags_left = models.PositiveSmallIntegerField(null=True, blank=True)
    note = models.CharField(_("note"), max_length=200, blank=True)
    put_in_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="freezer_items")
    created_at = models.DateTimeField(default=timezone.now)
    # The form's own token: the same form sent twice finds the lot it wrote the first time.
    token = models.UUIDField(unique=True, editable=False)

    objects = FreezerQuerySet.as_manager()

    class Meta:
        ordering = ["frozen_on", "pk"]
        indexes = [
            models.Index(fields=["kitchen", "frozen_on"], condition=Q(grams_left__gt=0), name="fruit_freezer_there")
        ]
        constraints = [
            models.CheckConstraint(name="freezer_item_weighs_something", condition=Q(grams__gte=1)),
            models.CheckConstraint(
                name="freezer_item_never_more_left_than_was", condition=Q(grams_left__lte=F("grams"))
            ),
            models.CheckConstraint(
                name="freezer_item_bags_add_up",
                condition=Q(bags=None, bags_left=None)
                | Q(bags__isnull=False, bags_left__isnull=False, bags__gte=1, bags_left__lte=F("bags")),
            ),
            models.CheckConstraint(name="freezer_item_says_what", condition=~Q(what="")),
        ]

    def __str__(self) -> str:
        return self.what

    def get_absolute_url(self) -> str:
        return reverse("fruit:freezer-item", args=[self.pk])

    @property
    def keeping(self) -> Keeping:
        return keeping(self.frozen_on, produce=self.produce, with_sugar=self.with_sugar)

    def age_on(self, today: date) -> str:
        return self.keeping.age(today).value


class FreezerTaking(models.Model):
    """Some of a lot taken out. Never changed."""

    item = models.ForeignKey(FreezerItem, on_delete=models.PROTECT, related_name="takings")
    grams = models.PositiveIntegerField()
    bags = models.PositiveSmallIntegerField(default=0)
    reason = models.CharField(max_length=12, choices=TakenFor.choices, default=TakenFor.USED)
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="freezer_takings")
    at = models.DateTimeField(default=timezone.now)
    token = models.UUIDField(unique=True, editable=False)

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [models.CheckConstraint(name="freezer_taking_takes_something", condition=Q(grams__gte=1))]

    def __str__(self) -> str:
        return f"{self.item_id}: -{self.grams} g"
