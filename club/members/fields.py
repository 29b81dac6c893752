"""Fields that forms of several rooms share."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from club.members.text import seen

FIRST_YEAR, LAST_YEAR = 1900, 2199


class LineField(forms.CharField):
    """One line of what a reader sees: see `club.members.text.seen`."""

    def to_python(self, value: Any) -> str:
        return seen(super().to_python(value) or "")


class MomentField(forms.DateTimeField):
    """As Django's; but on the last day of the year 9999, or the first of all, UTC may have no date left to give."""

    default_error_messages = {"year": _("Check the year.")}

    def to_python(self, value: Any) -> datetime | None:
        moment: datetime | None = super().to_python(value)
        if moment is not None and not FIRST_YEAR <= moment.year <= LAST_YEAR:
            raise forms.ValidationError(self.error_messages["year"], code="year")
        return moment
