"""The words of offers, claims and shares."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from inventory.fruit import produce


class FruitState(models.TextChoices):
    FRESH = produce.FRESH, _("fresh")
    FROZEN = produce.FROZEN, _("frozen")
    JUICE = produce.JUICE, _("juice")


class OfferStage(models.TextChoices):
    OPEN = "open", _("open for claims")
    SHARED = "shared", _("shared out")
    TAKEN_BACK = "taken-back", _("taken back")


class ClaimStage(models.TextChoices):
    OPEN = "open", _("claimed")
    WITHDRAWN = "withdrawn", _("withdrawn")


class ShareStage(models.TextChoices):
    PROMISED = "promised", _("to be picked up")
    PICKED_UP = "picked-up", _("picked up")
    MISSED = "missed", _("not picked up")
    GIVEN_BACK = "given-back", _("given back")


# What counts as had this season, and against what is offered.
ACTIVE_STAGES = (ShareStage.PROMISED, ShareStage.PICKED_UP)
