"""Deposits on jars lent: integer cents, a note for each change, and what is held for each member and size."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from inventory.jars.models.ledger import Movement
from inventory.jars.queries import DepositQuerySet


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


class DepositNote(models.Model):
    """A deposit taken (above zero) or given back (below), with the movement it belongs to. Never changed."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="deposit_notes")
    size = models.CharField(max_length=16)
    jars = models.IntegerField()
    cents = models.IntegerField()
    movement = models.OneToOneField(
        Movement, on_delete=models.PROTECT, null=True, blank=True, related_name="deposit_note"
    )
    token = models.UUIDField(unique=True)
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="deposit_notes_written")
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-pk"]
        constraints = [models.CheckConstraint(name="deposit_note_says_something", condition=~Q(jars=0, cents=0))]

    def __str__(self) -> str:
        return f"{self.person_id} {self.size}: {self.cents:+d}"
