"""States of a class session and of a sign-up."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class SessionState(models.TextChoices):
    DRAFT = "draft", _("being planned")
    PUBLISHED = "published", _("published")
    CANCELLED = "cancelled", _("cancelled")
    HELD = "held", _("held")


class SignUpState(models.TextChoices):
    """waiting -> offered -> seated; any of them -> cancelled; offered -> lapsed when nobody answered."""

    WAITING = "waiting", _("on the waiting list")
    OFFERED = "offered", _("offered a seat")
    SEATED = "seated", _("has a seat")
    CANCELLED = "cancelled", _("cancelled")
    LAPSED = "lapsed", _("the offer lapsed")


OPEN_STATES = (SignUpState.WAITING, SignUpState.OFFERED, SignUpState.SEATED)
# An offered seat is kept for its person until the offer lapses: it is as taken as one that was accepted.
SEAT_STATES = (SignUpState.OFFERED, SignUpState.SEATED)
