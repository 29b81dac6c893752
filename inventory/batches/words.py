"""The words a batch and its jars are in, as choices."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class BatchState(models.TextChoices):
    STARTED = "started", _("on the stove")
    OUT = "out", _("cooling, seals to check")
    CHECKED = "checked", _("seals checked")
    FROZEN = "frozen", _("in the freezer")
    ABANDONED = "abandoned", _("given up")


class Seal(models.TextChoices):
    UNCHECKED = "unchecked", _("not looked at yet")
    SEALED = "sealed", _("sealed")
    UNSEALED = "unsealed", _("unsealed")
    BROKEN = "broken", _("broken")
    NONE = "none", _("no seal: kept frozen")


class Disposal(models.TextChoices):
    SHELF = "shelf", _("on the shelf")
    REPROCESS = "reprocess", _("to be reprocessed")
    REFRIGERATE = "refrigerate", _("in the refrigerator")
    FREEZE = "freeze", _("in the freezer")
    DISCARD = "discard", _("thrown away")


# What a look can find, and what can be done with a jar that did not seal.
FINDINGS = (Seal.SEALED, Seal.UNSEALED, Seal.BROKEN)
FOR_UNSEALED = (Disposal.REPROCESS, Disposal.REFRIGERATE, Disposal.FREEZE, Disposal.DISCARD)
