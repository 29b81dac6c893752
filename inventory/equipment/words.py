"""The words of the room: what state a thing, a hold or a wait is in, and how good a thing looked."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class ThingState(models.TextChoices):
    IN_SERVICE = "in-service", _("in service")
    IN_REPAIR = "in-repair", _("in repair")
    RETIRED = "retired", _("retired")


class Condition(models.TextChoices):
    GOOD = "good", _("good")
    WORN = "worn", _("worn, still safe to use")
    BROKEN = "broken", _("needs repair")


class Occasion(models.TextChoices):
    ADDED = "added", _("came to the club")
    HANDED_OVER = "handed-over", _("handed over")
    RETURNED = "returned", _("came back")
    LOOKED_OVER = "looked-over", _("looked over")
    TO_REPAIR = "to-repair", _("went to repair")
    REPAIRED = "repaired", _("back from repair")
    PARTS = "parts", _("missing part settled")
    RETIRED = "retired", _("retired")


class PartsOutcome(models.TextChoices):
    """What became of a part that was missing at a return."""

    BACK = "back", _("the part is back")
    REPLACED = "replaced", _("the part was replaced")
    WITHDRAWN = "withdrawn", _("the thing was withdrawn")
    # Lent again or retired since, before missing parts were followed up; written by the migration that began it.
    BEFORE = "before", _("from before missing parts were followed up")


class HoldState(models.TextChoices):
    OFFERED = "offered", _("offered, not answered yet")
    HELD = "held", _("held")
    OUT = "out", _("handed over")
    BACK = "back", _("back")
    CANCELLED = "cancelled", _("cancelled")


class WaitState(models.TextChoices):
    WAITING = "waiting", _("waiting")
    OFFERED = "offered", _("offered")
    TAKEN = "taken", _("taken")
    LAPSED = "lapsed", _("not answered in time")
    LEFT = "left", _("left the line")
    PAST = "past", _("the days went by")


class Verdict(models.TextChoices):
    PASSED = "passed", _("passed")
    FAILED = "failed", _("failed")


# How a keeper can settle a missing part.
PARTS_OUTCOMES = (PartsOutcome.BACK, PartsOutcome.REPLACED, PartsOutcome.WITHDRAWN)
