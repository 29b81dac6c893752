"""What a person can learn at the club, and how it is known that she did. A thing may ask for one before it is lent."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class Skill(models.TextChoices):
    BOILING_WATER = "boiling-water", _("Boiling-water canning")
    PRESSURE = "pressure", _("Pressure canning")
    SPREADS = "spreads", _("Jams and jellies")
    PICKLING = "pickling", _("Pickling and relishes")
    FERMENTING = "fermenting", _("Fermenting")


class SkillHow(models.TextChoices):
    CLASS = "class", _("came to the class")
    WAIVED = "waived", _("waived by an instructor")
