"""The jar ledger's room. For now it holds lid lots: lids bought together, the thing to trace when seals fail."""

from __future__ import annotations

import re
from typing import Any

from django.db import models
from django.db.models.functions import Lower
from django.utils import timezone
from django.utils.translation import gettext_lazy as _


def code_key(code: str) -> str:
    """Letters and digits only, in capitals: codes are compared without the dashes and spaces somebody typed."""
    return re.sub(r"[\W_]", "", code).upper()


class LidLotQuerySet(models.QuerySet["LidLot"]):
    def coded(self, code: str) -> LidLotQuerySet:
        """Lots whose code reads the same, whatever the case, dashes and spaces. Two makers may share a code."""
        key = code_key(code)
        return self.filter(code_key=key) if key else self.none()


class LidLot(models.Model):
    """Lids bought together. The code is what the box prints, or what the club wrote on it."""

    code = models.CharField(_("lot code on the box"), max_length=60)
    code_key = models.CharField(max_length=180, editable=False, db_index=True)
    maker = models.CharField(_("maker"), max_length=80, blank=True)
    bought_on = models.DateField(_("bought on"), null=True, blank=True)
    note = models.CharField(_("note"), max_length=200, blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    objects = LidLotQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at", "-pk"]
        constraints = [
            models.UniqueConstraint("code_key", Lower("maker"), name="one_lid_lot_per_code_and_maker"),
            models.CheckConstraint(name="lid_lot_has_a_code", condition=~models.Q(code_key="")),
        ]

    def __str__(self) -> str:
        return f"{self.code} ({self.maker})" if self.maker else self.code

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.code_key = code_key(self.code)
        if "update_fields" in kwargs and kwargs["update_fields"] is not None:
            kwargs["update_fields"] = {*kwargs["update_fields"], "code_key"}
        super().save(*args, **kwargs)
