"""A thing, its picture, how it looked each time somebody looked, and the tests of its gauge or scale."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from club.members.choices import Skill
from club.members.models import Kitchen
from inventory.equipment.codes import CODE_LENGTH, code_key
from inventory.equipment.kinds import FACTS, NO_SKILL, Kind, KindFacts
from inventory.equipment.queries import ThingQuerySet
from inventory.equipment.rules import Reading, worst_error
from inventory.equipment.words import Condition, Occasion, ThingState, Verdict


class Thing(models.Model):
    """Something the club lends. Its code is on its label and never means another thing."""

    code = models.CharField(_("code"), max_length=CODE_LENGTH)
    code_key = models.CharField(max_length=CODE_LENGTH, unique=True, editable=False)
    # The form's own token: the same form sent twice finds the thing it made the first time.
    token = models.UUIDField(null=True, blank=True, unique=True, editable=False)
    kind = models.CharField(_("kind"), max_length=24, choices=Kind.choices)
    name = models.CharField(_("name"), max_length=120)
    # How many jars of each size it takes at once, such as {"pint": 9, "quart": 7}.
    capacity: models.JSONField[dict[str, int], dict[str, int]] = models.JSONField(default=dict, blank=True)
    home = models.ForeignKey(Kitchen, on_delete=models.PROTECT, null=True, blank=True, related_name="things")
    place = models.CharField(_("where it stands"), max_length=120, blank=True)
    deposit_cents = models.PositiveIntegerField(_("deposit in cents"), default=0)
    deposit_note = models.CharField(_("about the deposit"), max_length=200, blank=True)
    care = models.TextField(_("care"), blank=True)
    # Empty: as the kind has it.
    turnaround_own = models.PositiveSmallIntegerField(_("days for cleaning"), null=True, blank=True)
    # What whoever borrows it must have learned. Empty: as the kind has it; NO_SKILL: nothing.
    skill_own = models.CharField(_("skill to borrow it"), max_length=40, blank=True)
    state = models.CharField(max_length=12, choices=ThingState.choices, default=ThingState.IN_SERVICE)
    state_note = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    objects = ThingQuerySet.as_manager()

    class Meta:
        ordering = ["code"]
        indexes = [models.Index(fields=["kind", "state"])]
        permissions = [
            ("keep_things", "Can keep the things lent: add, test, hand over, take back"),
            ("hold_for_class", "Can hold things for a class or another purpose of the club's"),
        ]
        constraints = [
            models.CheckConstraint(name="thing_has_a_code", condition=~Q(code_key="")),
            models.CheckConstraint(name="thing_has_a_name", condition=~Q(name="")),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.code_key = code_key(self.code)
        super().save(*args, **kwargs)

    def get_absolute_url(self) -> str:
        return reverse("equipment:thing", args=[self.code])

    @property
    def facts(self) -> KindFacts:
        return FACTS[self.kind]

    @property
    def turnaround_days(self) -> int:
        return self.facts.turnaround_days if self.turnaround_own is None else self.turnaround_own

    @property
    def skill(self) -> str:
        """What whoever borrows it must have learned; "" where nothing is asked."""
        wanted = self.skill_own or self.facts.skill
        return "" if wanted == NO_SKILL else wanted

    @property
    def skill_label(self) -> str:
        return str(Skill(self.skill).label) if self.skill else ""

    @property
    def is_lent(self) -> bool:
        """Whether it may be held and handed over at all."""
        return self.state == ThingState.IN_SERVICE


class ThingPhoto(models.Model):
    """A picture, decoded and written anew as JPEG. Kept in the database: one backup holds everything."""

    thing = models.OneToOneField(Thing, on_delete=models.CASCADE, related_name="photo")
    jpeg = models.BinaryField()
    changed_at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return f"{self.thing_id} {self.changed_at:%Y-%m-%d}"


class ConditionNote(models.Model):
    """How a thing was, each time somebody looked: never changed, only added to."""

    thing = models.ForeignKey(Thing, on_delete=models.PROTECT, related_name="condition_notes")
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    occasion = models.CharField(max_length=12, choices=Occasion.choices)
    condition = models.CharField(max_length=8, choices=Condition.choices)
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["thing", "-at"])]

    def __str__(self) -> str:
        return f"{self.thing_id} {self.at:%Y-%m-%d} {self.condition}"


class InstrumentTest(models.Model):
    """A dial gauge's test, or a calibration: what the reference said and what the instrument showed."""

    thing = models.ForeignKey(Thing, on_delete=models.PROTECT, related_name="tests")
    token = models.UUIDField(unique=True)
    tested_on = models.DateField()
    reference = models.CharField(max_length=160)  # what it was held against
    # [["10", "10.5"], ...]: reference and shown, as exact decimals in text
    readings: models.JSONField[list[list[str]], list[list[str]]] = models.JSONField()
    verdict = models.CharField(max_length=8, choices=Verdict.choices)
    lapses_on = models.DateField()  # the first day on which it is no longer good
    note = models.CharField(max_length=300, blank=True)
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["-tested_on", "-pk"]
        indexes = [models.Index(fields=["thing", "-tested_on", "-id"])]

    def __str__(self) -> str:
        return f"{self.thing_id} {self.tested_on} {self.verdict}"

    @property
    def read(self) -> list[Reading]:
        return [Reading(Decimal(reference), Decimal(shown)) for reference, shown in self.readings]

    @property
    def error(self) -> Decimal:
        return worst_error(self.read)

    @property
    def measure(self) -> str:
        return str(self.thing.facts.measure or "")
