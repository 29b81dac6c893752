"""Fields that forms of several rooms share."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from crispy_forms.layout import Div
from crispy_forms.utils import TEMPLATE_PACK
from django import forms
from django.template.loader import render_to_string
from django.utils.translation import gettext_lazy as _

from club.core.text import seen

FIRST_YEAR, LAST_YEAR = 1900, 2199


class LineField(forms.CharField):
    """One line of what a reader sees: see `club.core.text.seen`."""

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


# A part of a form that is rarely filled in, folded away under its name. It works without scripts.


class Fold(Div):  # type: ignore[misc]  # the layouts carry no types
    """`Fold("Smaller jars too", "jars_pint", ...)`; it stands open when one was filled in or came back wrong."""

    template = "parts/fold.html"

    def __init__(self, summary: Any, *fields: Any) -> None:
        super().__init__(*fields)
        self.summary = summary

    def render(self, form: Any, context: Any, template_pack: Any = TEMPLATE_PACK, **kwargs: Any) -> str:
        inside = self.get_rendered_fields(form, context, template_pack, **kwargs)
        return render_to_string(
            self.template, {"summary": self.summary, "inside": inside, "is_open": self._is_needed(form)}
        )

    def _is_needed(self, form: Any) -> bool:
        names = [pointer.name for pointer in self.get_field_names()]
        return any(
            form[name].errors or (form.is_bound and form.data.get(name)) for name in names if name in form.fields
        )
