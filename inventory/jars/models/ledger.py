"""The jar ledger: places, every movement between them, what stands where, and deposits.

A movement is written once and never changed (see `triggers`). Balances are kept in the same transaction, so that a page
reads a sum and not a history; `services.ledger_audit` recomputes them from the movements.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Count, F, Q, Sum
from django.db.models.functions import Coalesce
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from club.core.fields import NameField
from club.core.ledger import NOTE_LENGTH, CorrectableRow, LedgerRow, correction_constraint
from club.members.models import Kitchen, User
from inventory.jars.choices import INSIDE, CountReason, JarState, PlaceKind, Reason
from recipes.engine.quantities import JAR_SIZES

KEEP = "jars.keep_ledger"
COUNT_LASTS = timedelta(hours=12)  # our own choice, no source: nobody counts one place for longer


class PlaceQuerySet(models.QuerySet["Place"]):
    def inside(self) -> PlaceQuerySet:
        return self.filter(kind__in=INSIDE)

    def usable_by(self, user: User) -> PlaceQuerySet:
        """The gate: one's own place and kitchens; who keeps the ledger sees every place inside the club."""
        inside = self.inside().select_related("kitchen", "person")
        if user.has_perm(KEEP):
            return inside
        return inside.filter(Q(person=user) | Q(kitchen__in=Kitchen.objects.filter(people=user)))

    def of_key(self, key: str) -> PlaceQuerySet:
        """By `Place.key`; nothing where no jar ever came to that kitchen or member."""
        kind, _dash, pk = key.partition("-")
        if kind == PlaceKind.KITCHEN:
            return self.filter(kitchen=int(pk))
        return self.filter(person=int(pk)) if kind == PlaceKind.MEMBER else self.filter(kind=key)

    def in_order(self) -> PlaceQuerySet:
        """The store, then kitchens, then members, each by name."""
        rank = models.Case(
            models.When(kind=PlaceKind.STORE, then=0), models.When(kind=PlaceKind.KITCHEN, then=1), default=2
        )
        return self.order_by(rank, Coalesce("kitchen__name", "person__name"), "pk")


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

    @property
    def key(self) -> str:
        """As a form names it, before it is there too: "kitchen-3", "member-7", or the kind that there is one of."""
        if self.kitchen_id is not None:
            return f"{PlaceKind.KITCHEN}-{self.kitchen_id}"
        return f"{PlaceKind.MEMBER}-{self.person_id}" if self.person_id is not None else self.kind


@dataclass
class Counts:
    """Jars by state; `sizes` in the order of the shelf."""

    empty: int = 0
    full: int = 0
    chipped: int = 0
    sizes: dict[str, Counts] = field(default_factory=dict)

    def add(self, state: str, count: int) -> None:
        setattr(self, state, getattr(self, state) + count)

    @property
    def total(self) -> int:
        return self.empty + self.full + self.chipped


class BalanceQuerySet(models.QuerySet["Balance"]):
    def there(self) -> BalanceQuerySet:
        """What stands somewhere inside the club: no zero rows, no outside accounts."""
        return self.filter(is_inside=True).exclude(count=0)

    def called_back(self) -> BalanceQuerySet:
        """Full jars of a lot that somebody may hold a recalled jar of. What is recalled is the room above's to say: it
        is asked by the field that leads there, and not imported."""
        batches: Any = self.model._meta.get_field("batch").related_model
        return self.filter(batch__in=batches.objects.recalled())

    def set_aside_there(self, place: Place, batch_id: int, size: str) -> int:
        """How many jars of a lot are set aside in a place; they are counted full there. Asked as `called_back` is."""
        batches: Any = self.model._meta.get_field("batch").related_model
        here = Q(jars__set_aside__isnull=False, jars__size=size, jars__place=place.kitchen_id)
        kept = here & ~Q(jars__disposal__in=["discard", "gone"])
        found: int = batches.objects.filter(pk=batch_id).aggregate(n=Count("jars", filter=kept))["n"]
        return found

    def full_lot(self, code: str) -> int | None:
        """The batch of that lot code which stands, or stood, full here; None when there is none."""
        return self.filter(state=JarState.FULL, batch__lot_code=code).values_list("batch", flat=True).first()

    def sums_by_size(self) -> dict[str, int]:
        """Over all places, the outside ones included: always zero for every size."""
        rows = self.order_by().values("size").annotate(n=Sum("count"))
        return {row["size"]: row["n"] for row in rows}

    def totals(self) -> Counts:
        """Jars inside the club by size and state, in one query."""
        rows = self.there().order_by().values("size", "state").annotate(n=Sum("count"))
        return _counted((row["size"], row["state"], row["n"]) for row in rows)

    def by_place(self, places: Sequence[Place]) -> dict[int, Counts]:
        """The counts of each of these places, in one query."""
        rows = (
            self.there().filter(place__in=places).order_by().values("place", "size", "state").annotate(n=Sum("count"))
        )
        found: defaultdict[int, list[tuple[str, str, int]]] = defaultdict(list)
        for row in rows:
            found[row["place"]].append((row["size"], row["state"], row["n"]))
        return {place.pk: _counted(found[place.pk]) for place in places}


def _counted(rows: Iterable[tuple[str, str, int]]) -> Counts:
    whole, by_size = Counts(), defaultdict[str, Counts](Counts)
    for size, state, count in rows:
        whole.add(state, count)
        by_size[size].add(state, count)
    whole.sizes = {size: by_size[size] for size in JAR_SIZES if size in by_size}
    return whole


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


class MovementQuerySet(models.QuerySet["Movement"]):
    def for_list(self) -> MovementQuerySet:
        return self.select_related(
            "source__kitchen", "source__person", "target__kitchen", "target__person", "batch", "by", "corrected_by"
        ).defer("batch__plan", "corrected_by__note")

    def before(self, pk: int | None) -> MovementQuerySet:
        """By the key and not by an offset: the thousandth page costs what the first does."""
        rows = self.order_by("-pk")
        return rows if pk is None else rows.filter(pk__lt=pk)

    def at_place(self, place: Place, *, before: int | None, limit: int) -> list[Movement]:
        """The latest of a place. Two index walks: one query over "out or in" would sort all of a million."""
        keys: set[int] = set()
        for side in ("source", "target"):
            keys.update(self.filter(**{side: place}).before(before).values_list("pk", flat=True)[:limit])
        return list(self.for_list().filter(pk__in=sorted(keys, reverse=True)[:limit]).order_by("-pk"))


class Movement(CorrectableRow):
    """`count` jars of one size, out of one place and state into another. The sum over all places stays zero.

    `batch` is the lot that is full on either side: a full jar never turns into another lot's without being emptied.
    """

    size = models.CharField(_("size"), max_length=16)
    count = models.PositiveIntegerField(_("jars"))
    source = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="movements_out")
    source_state = models.CharField(max_length=8, choices=JarState.choices)
    target = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="movements_in")
    target_state = models.CharField(max_length=8, choices=JarState.choices)
    # By its label: the room of the batches stands above this one and is not imported here.
    batch = models.ForeignKey(
        "batches.Batch", on_delete=models.PROTECT, null=True, blank=True, related_name="jar_movements"
    )
    reason = models.CharField(_("reason"), max_length=10, choices=Reason.choices)
    note = models.CharField(_("note"), max_length=NOTE_LENGTH, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="jar_movements")
    at = models.DateTimeField(_("when"), default=timezone.now)

    objects = MovementQuerySet.as_manager()

    class Meta(CorrectableRow.Meta):
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
            correction_constraint("movement_that_corrects_says_so"),
        ]

    def __str__(self) -> str:
        return f"{self.count} {self.size} {self.reason}"

    @property
    def counted_at(self) -> Place | None:
        """The place whose count it mends; None for jars that went from one place to another."""
        if self.reason == Reason.FOUND:
            return self.target
        return self.source if self.reason == Reason.MISSING else None


class ShelfCountQuerySet(models.QuerySet["ShelfCount"]):
    def under_way(self, now: datetime) -> ShelfCountQuerySet:
        """Begun within the last half day, and neither booked nor given up."""
        return self.filter(ended_at=None, begun_at__gt=now - COUNT_LASTS).select_related("place", "by")


class ShelfCount(models.Model):
    """A walk along the shelves of one place: who began it and when, and what was booked when it ended."""

    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="shelf_counts")
    token = models.UUIDField(unique=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="shelf_counts")
    begun_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    rows = models.PositiveIntegerField(default=0)  # how many kinds of jar were counted; none: it was given up
    changes = models.PositiveIntegerField(default=0)  # of these, how many differed from the books
    why = models.CharField(max_length=12, choices=CountReason.choices, blank=True)
    note = models.CharField(max_length=NOTE_LENGTH, blank=True)

    objects = ShelfCountQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
        indexes = [models.Index(fields=["place"], condition=Q(ended_at=None), name="shelf_counts_under_way")]
        constraints = [
            models.CheckConstraint(
                name="shelf_count_booked_when_it_ended", condition=Q(ended_at__isnull=False) | Q(rows=0, changes=0)
            ),
            models.CheckConstraint(name="shelf_count_says_why_it_differs", condition=Q(changes=0) | ~Q(why="")),
        ]

    def __str__(self) -> str:
        return f"{self.place_id} {self.begun_at:%Y-%m-%d}"


class CountTaken(models.Model):
    """A file of counts that was taken in. The same file again changes nothing."""

    digest = models.CharField(max_length=64, unique=True)
    name = NameField(max_length=200)
    rows = models.PositiveIntegerField()
    changes = models.PositiveIntegerField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="counts_taken")
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-pk"]

    def __str__(self) -> str:
        return self.name


# Deposits on jars lent: integer cents, a note for each change, and what is held for each member and size.


class DepositQuerySet(models.QuerySet["Deposit"]):
    def open(self) -> DepositQuerySet:
        return self.filter(jars__gt=0).select_related("person").order_by("person__name", "person", "size")


class Deposit(models.Model):
    """What the club holds for jars of one size that a member has under a deposit."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="jar_deposits")
    size = models.CharField(max_length=16)
    jars = models.IntegerField(default=0)
    cents = models.IntegerField(default=0)

    objects = DepositQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["person", "size"], name="one_deposit_per_person_and_size"),
            models.CheckConstraint(name="deposit_never_below_zero", condition=Q(jars__gte=0, cents__gte=0)),
            models.CheckConstraint(name="no_deposit_without_a_jar", condition=Q(jars__gt=0) | Q(cents=0)),
        ]

    def __str__(self) -> str:
        return f"{self.person_id} {self.size}: {self.cents}"


class DepositNote(LedgerRow):
    """A deposit taken (above zero) or given back (below), with the movement it belongs to. Never changed."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="deposit_notes")
    size = models.CharField(max_length=16)
    jars = models.IntegerField()
    cents = models.IntegerField()
    movement = models.OneToOneField(
        Movement, on_delete=models.PROTECT, null=True, blank=True, related_name="deposit_note"
    )
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="deposit_notes_written")

    class Meta(LedgerRow.Meta):
        constraints = [models.CheckConstraint(name="deposit_note_says_something", condition=~Q(jars=0, cents=0))]

    def __str__(self) -> str:
        return f"{self.person_id} {self.size}: {self.cents:+d}"
