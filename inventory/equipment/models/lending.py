"""Holds, loans and waiting lines. That two holds never share a day of a thing is the database's own rule."""

from __future__ import annotations

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from inventory.equipment.kinds import Kind
from inventory.equipment.models.things import Thing
from inventory.equipment.queries import HoldQuerySet, LoanQuerySet, ThingDayQuerySet, WaitingQuerySet
from inventory.equipment.spans import Span
from inventory.equipment.words import Condition, HoldState, PartsOutcome, WaitState


class Hold(models.Model):
    """Keeps a thing for somebody from one day to another, both included, and then for its cleaning.

    offered -> held -> out (handed over: there is a loan) -> back. Offered or held may be cancelled.
    """

    thing = models.ForeignKey(Thing, on_delete=models.PROTECT, related_name="holds")
    # The form's own token: the same form sent twice finds the hold it made the first time.
    token = models.UUIDField(unique=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="holds")
    # A class or another purpose of the club's; the person then answers for it.
    purpose = models.CharField(_("what for"), max_length=120, blank=True)
    starts = models.DateField()
    ends = models.DateField()
    kept_until = models.DateField()  # with the days for cleaning
    state = models.CharField(max_length=10, choices=HoldState.choices, default=HoldState.HELD)
    placed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    placed_at = models.DateTimeField()

    objects = HoldQuerySet.as_manager()

    class Meta:
        ordering = ["starts", "pk"]
        indexes = [models.Index(fields=["thing", "state", "starts"]), models.Index(fields=["person", "state", "ends"])]
        constraints = [
            models.CheckConstraint(name="hold_ends_after_it_starts", condition=Q(ends__gte=F("starts"))),
            models.CheckConstraint(name="hold_kept_until_its_end_or_later", condition=Q(kept_until__gte=F("ends"))),
        ]

    def __str__(self) -> str:
        return f"{self.thing_id} {self.starts} {self.ends}"

    @property
    def span(self) -> Span:
        return Span(self.starts, self.ends)


class ThingDay(models.Model):
    """One day of one thing, taken by one hold. The unique key is what refuses a clash, on every database."""

    thing = models.ForeignKey(Thing, on_delete=models.PROTECT, related_name="taken_days", db_index=False)
    day = models.DateField()
    hold = models.ForeignKey(Hold, on_delete=models.CASCADE, related_name="taken_days")

    objects = ThingDayQuerySet.as_manager()

    class Meta:
        ordering = ["day"]
        constraints = [models.UniqueConstraint(fields=["thing", "day"], name="one_hold_per_thing_and_day")]

    def __str__(self) -> str:
        return f"{self.thing_id} {self.day}"


class Loan(models.Model):
    """A thing in somebody's hands, from hand-over to return, each with its condition and by whom."""

    thing = models.ForeignKey(Thing, on_delete=models.PROTECT, related_name="loans")
    hold = models.OneToOneField(Hold, on_delete=models.PROTECT, related_name="loan")
    token = models.UUIDField(unique=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="loans")
    purpose = models.CharField(_("what for"), max_length=120, blank=True)
    due_on = models.DateField(_("due back"))
    deposit_cents = models.PositiveIntegerField(default=0)  # taken at hand-over

    handed_over_at = models.DateTimeField()
    handed_over_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    condition_out = models.CharField(max_length=8, choices=Condition.choices)
    note_out = models.CharField(max_length=300, blank=True)

    returned_at = models.DateTimeField(null=True, blank=True)
    return_token = models.UUIDField(null=True, blank=True, unique=True)
    taken_back_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    condition_in = models.CharField(max_length=8, choices=Condition.choices, blank=True)
    missing_parts = models.CharField(_("missing parts"), max_length=300, blank=True)
    note_in = models.CharField(max_length=300, blank=True)

    # What was missing at the return is an open matter until a keeper settles it; so long the thing stays in.
    parts_settled_at = models.DateTimeField(null=True, blank=True)
    parts_settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    parts_outcome = models.CharField(max_length=10, choices=PartsOutcome.choices, blank=True)
    parts_note = models.CharField(max_length=300, blank=True)

    objects = LoanQuerySet.as_manager()

    class Meta:
        ordering = ["-handed_over_at", "-pk"]
        indexes = [
            models.Index(fields=["returned_at", "due_on"]),
            models.Index(fields=["person", "returned_at"]),
            models.Index(fields=["thing", "-handed_over_at"]),
            models.Index(fields=["-handed_over_at", "-id"]),
        ]
        constraints = [
            models.UniqueConstraint(fields=["thing"], name="one_open_loan_per_thing", condition=Q(returned_at=None)),
            # A returned loan with a part missing stands in the way of the next one, as an open loan does.
            models.UniqueConstraint(
                fields=["thing"],
                name="no_loan_while_a_part_is_missing",
                condition=Q(returned_at=None) | (~Q(missing_parts="") & Q(parts_settled_at=None)),
            ),
            models.CheckConstraint(
                name="loan_parts_settled_by_whom_and_how",
                condition=Q(parts_settled_at=None, parts_settled_by=None, parts_outcome="", parts_note="")
                | (
                    Q(parts_settled_at__isnull=False, returned_at__isnull=False)
                    & ~Q(missing_parts="")
                    & Q(parts_settled_by__isnull=False, parts_outcome__in=["back", "replaced", "withdrawn"])
                )
                | Q(parts_settled_at__isnull=False, parts_settled_by=None, parts_outcome="before"),
            ),
            models.CheckConstraint(
                name="loan_back_says_by_whom_and_how",
                condition=Q(returned_at=None, taken_back_by=None, condition_in="")
                | (Q(returned_at__gte=F("handed_over_at"), taken_back_by__isnull=False) & ~Q(condition_in="")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.thing_id} {self.due_on}"


class WaitingEntry(models.Model):
    """Somebody's place in the line for a kind: so many days, somewhere between two dates.

    waiting -> offered (a hold keeps the thing for a day) -> taken, or lapsed when it was not answered.
    """

    kind = models.CharField(max_length=24, choices=Kind.choices)
    token = models.UUIDField(unique=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="waits")
    days = models.PositiveSmallIntegerField(_("days"), validators=[MinValueValidator(1)])
    not_before = models.DateField()
    not_after = models.DateField()
    joined_at = models.DateTimeField()
    state = models.CharField(max_length=8, choices=WaitState.choices, default=WaitState.WAITING)
    hold = models.OneToOneField(Hold, on_delete=models.PROTECT, null=True, blank=True, related_name="wait")
    offered_at = models.DateTimeField(null=True, blank=True)
    offer_until = models.DateTimeField(null=True, blank=True)

    objects = WaitingQuerySet.as_manager()

    class Meta:
        ordering = ["joined_at", "pk"]
        indexes = [models.Index(fields=["state", "kind", "joined_at"])]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "person"],
                name="one_place_in_each_line",
                condition=Q(state__in=["waiting", "offered"]),
            ),
            models.CheckConstraint(name="wait_ends_after_it_begins", condition=Q(not_after__gte=F("not_before"))),
            models.CheckConstraint(
                name="wait_offered_names_its_hold",
                condition=~Q(state="offered") | Q(hold__isnull=False, offer_until__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.person_id}"
