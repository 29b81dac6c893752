"""The jar ledger: places, every movement between them, and what stands where.

A movement is written once and never changed (triggers, see guards.py). Balances are kept in the same transaction,
so that a page reads a sum and not a history; `services.ledger_audit` recomputes them from the movements.
"""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from club.members.models import Kitchen
from inventory.jars.queries import BalanceQuerySet, MovementQuerySet, PlaceQuerySet
from inventory.jars.words import INSIDE, JarState, PlaceKind, Reason
from recipes.engine.quantities import JAR_SIZES


class Place(models.Model):
    """Somewhere jars are, came from, or went for good. Kitchens and members have one each; of the rest there is one."""

    kind = models.CharField(max_length=10, choices=PlaceKind.choices)
    kitchen = models.OneToOneField(Kitchen, on_delete=models.PROTECT, null=True, blank=True, related_name="jar_place")
    person = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="jar_place"
    )

    objects = PlaceQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        permissions = [("keep_ledger", "Can keep the jar ledger, lids and supplies")]
        constraints = [
            models.UniqueConstraint(
                fields=["kind"], condition=~Q(kind__in=["kitchen", "member"]), name="one_place_of_its_kind"
            ),
            models.CheckConstraint(
                name="place_is_a_kitchen_a_member_or_neither",
                condition=Q(kind="kitchen", kitchen__isnull=False, person=None)
                | Q(kind="member", kitchen=None, person__isnull=False)
                | Q(kind__in=["bought", "given-away", "broken", "store"], kitchen=None, person=None),
            ),
        ]

    def __str__(self) -> str:
        if self.kitchen is not None:
            return str(self.kitchen)
        return str(self.person) if self.person is not None else str(PlaceKind(self.kind).label)

    def get_absolute_url(self) -> str:
        return reverse("jars:place", args=[self.pk])

    @property
    def is_inside(self) -> bool:
        return self.kind in INSIDE


class Balance(models.Model):
    """How many jars of one size and state (and lot, when full) stand in one place. Outside places may go below zero."""

    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="balances")
    # Repeated from the place, so that the database itself can hold the rule below; a trigger sees that it agrees.
    is_inside = models.BooleanField()
    size = models.CharField(max_length=16)
    state = models.CharField(max_length=8, choices=JarState.choices)
    batch = models.ForeignKey("batches.Batch", on_delete=models.PROTECT, null=True, blank=True, related_name="balances")
    count = models.BigIntegerField(default=0)

    objects = BalanceQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]  # by a relation it would join that table to every read, and could not be locked
        indexes = [
            models.Index(
                fields=["is_inside", "size", "state", "count"], condition=~Q(count=0), name="jars_balance_totals"
            ),
            models.Index(fields=["place", "state", "size", "count"], condition=~Q(count=0), name="jars_balance_there"),
        ]
        constraints = [
            # Two constraints, as one over a nullable column would let two empty rows pass.
            models.UniqueConstraint(
                fields=["place", "size", "state"], condition=Q(batch=None), name="one_balance_of_jars_without_a_lot"
            ),
            models.UniqueConstraint(
                fields=["place", "size", "state", "batch"],
                condition=Q(batch__isnull=False),
                name="one_balance_of_a_lot",
            ),
            models.CheckConstraint(
                name="no_place_inside_goes_below_zero", condition=Q(is_inside=False) | Q(count__gte=0)
            ),
            models.CheckConstraint(
                name="full_jars_and_only_they_have_a_lot",
                condition=Q(state="full", batch__isnull=False) | Q(state__in=["empty", "chipped"], batch=None),
            ),
            models.CheckConstraint(name="balance_of_a_known_size", condition=Q(size__in=JAR_SIZES)),
        ]

    def __str__(self) -> str:
        return f"{self.place_id} {self.size} {self.state}: {self.count}"


class Movement(models.Model):
    """`count` jars of one size, out of one place and state into another. The sum over all places stays zero.

    `batch` is the lot that is full on either side: a full jar never turns into another lot's without being emptied.
    """

    size = models.CharField(_("size"), max_length=16)
    count = models.PositiveIntegerField(_("jars"))
    source = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="movements_out")
    source_state = models.CharField(max_length=8, choices=JarState.choices)
    target = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="movements_in")
    target_state = models.CharField(max_length=8, choices=JarState.choices)
    # Named by a word: the room of the batches stands above this one and is not imported here.
    batch = models.ForeignKey(
        "batches.Batch", on_delete=models.PROTECT, null=True, blank=True, related_name="jar_movements"
    )
    reason = models.CharField(_("reason"), max_length=10, choices=Reason.choices)
    note = models.CharField(_("note"), max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="jar_movements")
    at = models.DateTimeField(_("when"), default=timezone.now)
    # The form's own token: the same form sent twice finds the movement it made the first time.
    token = models.UUIDField(unique=True)
    corrects = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrected_by"
    )

    objects = MovementQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
        indexes = [
            models.Index(fields=["source", "-id"], name="jars_movement_out"),
            models.Index(fields=["target", "-id"], name="jars_movement_in"),
        ]
        constraints = [
            models.CheckConstraint(name="movement_moves_a_jar", condition=Q(count__gte=1)),
            models.CheckConstraint(
                name="movement_changes_place_or_state",
                condition=~Q(source=F("target")) | ~Q(source_state=F("target_state")),
            ),
            models.CheckConstraint(
                name="movement_of_full_jars_names_their_lot",
                condition=Q(Q(source_state="full") | Q(target_state="full"), batch__isnull=False)
                | Q(~Q(source_state="full"), ~Q(target_state="full"), batch=None),
            ),
            models.CheckConstraint(
                name="movement_of_known_states",
                condition=Q(source_state__in=JarState.values, target_state__in=JarState.values),
            ),
            models.CheckConstraint(name="movement_of_a_known_size", condition=Q(size__in=JAR_SIZES)),
            models.CheckConstraint(
                name="movement_that_corrects_says_so",
                condition=Q(reason="corrected", corrects__isnull=False) | Q(~Q(reason="corrected"), corrects=None),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.count} {self.size} {self.reason}"


class CountTaken(models.Model):
    """A file of counts that was taken in. The same file again changes nothing."""

    digest = models.CharField(max_length=64, unique=True)
    name = models.CharField(max_length=200)
    rows = models.PositiveIntegerField()
    changes = models.PositiveIntegerField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="counts_taken")
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-pk"]

    def __str__(self) -> str:
        return self.name
