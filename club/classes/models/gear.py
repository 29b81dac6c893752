"""What is kept for a session: things held in the equipment room, and jars, lids and supplies set aside."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from club.classes.models.sessions import ClassSession
from club.classes.queries import SetAsideQuerySet
from inventory.equipment.models import Hold
from inventory.jars.models import Place


class SetAsideKind(models.TextChoices):
    JAR = "jar", _("empty jars")
    LID = "lid", _("lids")
    SUPPLY = "supply", _("supplies")


class SessionGear(models.Model):
    """A hold of the equipment room that was placed for a session; `kind` is the thing's (inventory.equipment.kinds)."""

    session = models.ForeignKey(ClassSession, on_delete=models.PROTECT, related_name="gear")
    hold = models.OneToOneField(Hold, on_delete=models.PROTECT, related_name="session_gear")
    kind = models.CharField(max_length=24)

    class Meta:
        ordering = ["kind", "pk"]

    def __str__(self) -> str:
        return f"{self.session_id} {self.kind}"


class SetAside(models.Model):
    """So many of something that others must not count on until the session is over.

    `key` says of what: a jar size, the number of a lid lot or of a supply. Empties stand at a `place`; lids and
    supplies are counted over the whole club.
    """

    session = models.ForeignKey(ClassSession, on_delete=models.PROTECT, related_name="set_aside")
    what = models.CharField(max_length=8, choices=SetAsideKind.choices)
    key = models.CharField(max_length=40)
    quantity = models.PositiveIntegerField()
    place = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, blank=True, related_name="set_aside")
    at = models.DateTimeField(default=timezone.now)

    objects = SetAsideQuerySet.as_manager()

    class Meta:
        ordering = ["what", "key", "pk"]
        indexes = [models.Index(fields=["what", "key"])]
        constraints = [
            models.CheckConstraint(name="set_aside_is_something", condition=Q(quantity__gte=1)),
            models.CheckConstraint(
                name="set_aside_jars_stand_somewhere",
                condition=Q(what="jar", place__isnull=False) | Q(what__in=["lid", "supply"], place=None),
            ),
            # Two constraints, as one over a nullable column would let two rows without a place pass.
            models.UniqueConstraint(
                fields=["session", "what", "key"], condition=Q(place=None), name="set_aside_once_for_a_session"
            ),
            models.UniqueConstraint(
                fields=["session", "what", "key", "place"],
                condition=Q(place__isnull=False),
                name="set_aside_once_at_a_place",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.session_id} {self.what} {self.key}: {self.quantity}"


class SetAsideTurn(models.Model):
    """One row. Who sets aside counts it up first: of two at once the second waits, and then sees the first."""

    number = models.PositiveBigIntegerField(default=0)

    def __str__(self) -> str:
        return str(self.number)
