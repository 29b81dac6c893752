"""A station: a stove, a canner and the people at it, cooking one revision."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.classes.models.sessions import ClassSession
from recipes.models import Revision

MOST_SEATS = 12  # at one stove; common practice, no source


class Station(models.Model):
    """`burners_w` holds the power of each burner in watts, such as [2000, 1800]; `canner` a value of engine's Canner.

    `capacity` is how many jars of each size the canner takes at once, as a thing's (see inventory.equipment).
    """

    session = models.ForeignKey(ClassSession, on_delete=models.CASCADE, related_name="stations")
    number = models.PositiveSmallIntegerField()
    name = models.CharField(_("name"), max_length=60, blank=True)
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="stations")
    pots = models.PositiveSmallIntegerField(_("pots"), default=1, validators=[MinValueValidator(1)])
    jar_size = models.CharField(_("jar"), max_length=16, blank=True)  # empty: as the recipe states its yield
    pack = models.CharField(_("pack"), max_length=16, blank=True)
    canner = models.CharField(_("canner"), max_length=16, blank=True)
    canners = models.PositiveSmallIntegerField(_("canners"), default=1)
    capacity: models.JSONField[dict[str, int], dict[str, int]] = models.JSONField(default=dict, blank=True)
    stove = models.CharField(_("kind of stove"), max_length=16, default="electric")
    burners_w: models.JSONField[list[int], list[int]] = models.JSONField(default=list)
    cooks = models.PositiveSmallIntegerField(_("cooks"), default=2, validators=[MinValueValidator(1)])
    seats = models.PositiveSmallIntegerField(
        _("seats"), default=2, validators=[MinValueValidator(1), MaxValueValidator(MOST_SEATS)]
    )

    class Meta:
        ordering = ["session", "number"]
        constraints = [
            models.UniqueConstraint(fields=["session", "number"], name="one_station_per_number"),
            models.CheckConstraint(name="station_has_a_seat", condition=Q(seats__gte=1)),
            models.CheckConstraint(name="station_cooks_a_pot", condition=Q(pots__gte=1)),
        ]

    def __str__(self) -> str:
        return self.name or str(self.number)

    @property
    def label(self) -> str:
        """As it is called on the day."""
        return self.name or gettext("Station %(n)s") % {"n": self.number}
