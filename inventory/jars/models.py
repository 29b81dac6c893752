"""The jar ledger's room. For now it holds lid lots: lids bought together, the thing to trace when seals fail."""

from __future__ import annotations

from django.db import models
from django.db.models.functions import Lower
from django.utils import timezone
from django.utils.translation import gettext_lazy as _


class LidLot(models.Model):
    """Lids bought together. The code is what the box prints, or what the club wrote on it."""

    code = models.CharField(_("lot code on the box"), max_length=60)
    maker = models.CharField(_("maker"), max_length=80, blank=True)
    bought_on = models.DateField(_("bought on"), null=True, blank=True)
    note = models.CharField(_("note"), max_length=200, blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-created_at", "-pk"]
        constraints = [
            models.UniqueConstraint(Lower("code"), Lower("maker"), name="one_lid_lot_per_code_and_maker"),
        ]

    def __str__(self) -> str:
        return f"{self.code} ({self.maker})" if self.maker else self.code
