"""The lines of the paper sheet, as ten small forms on one page."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.equipment.fields import PersonField, day_field
from inventory.equipment.forms import TokenForm
from inventory.equipment.services import SheetRow
from inventory.equipment.words import Condition

LINES = 10


class SheetToken(TokenForm):
    """One token for the whole page."""


class SheetLineForm(forms.Form):
    code = forms.CharField(label=_("Code"), max_length=60, required=False)
    person = PersonField(label=_("Given to"), required=False, help_text=_("Empty: it came back."))
    on = day_field(_("On"))
    due_on = day_field(_("Due back"), required=False)
    condition = forms.ChoiceField(label=_("Condition"), choices=Condition.choices, initial=Condition.GOOD)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)

    @property
    def is_filled(self) -> bool:
        return bool(self.cleaned_data.get("code"))

    def clean(self) -> dict[str, Any]:
        told = super().clean() or {}
        if not told.get("code") and (told.get("person") or told.get("note")):
            self.add_error("code", _("Which thing?"))
        return told

    def written(self) -> SheetRow:
        return SheetRow(**self.cleaned_data)


def sheet_forms(data: Any, *, initial: dict[str, Any]) -> list[SheetLineForm]:
    return [SheetLineForm(data, prefix=f"line-{n}", initial=initial) for n in range(1, LINES + 1)]
