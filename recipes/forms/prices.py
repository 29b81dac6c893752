"""Noting a price."""

from __future__ import annotations

import re
import uuid
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from recipes.forms.viewing import bare_helper


class MoneyField(forms.Field):
    """ "4.99", "4,99" or "5" as cents; never through a float."""

    default_error_messages = {"invalid": _("Write a price such as 4.99.")}

    def to_python(self, value: Any) -> Any:
        text = str(value or "").strip()
        if not text:
            return None
        found = re.fullmatch(r"([0-9]{1,7})(?:[.,]([0-9]{1,2}))?", text)
        if found is None:
            raise ValidationError(self.error_messages["invalid"], code="invalid")
        return int(found[1]) * 100 + int((found[2] or "").ljust(2, "0"))


class PriceForm(forms.Form):
    item = forms.CharField(
        label=_("What"),
        max_length=80,
        help_text=_("As the shopping list has it, such as sugar or strawberries."),
        widget=forms.TextInput(attrs={"list": "known-things", "autocapitalize": "none"}),
    )
    package = forms.CharField(
        label=_("Package"), max_length=40, help_text=_("What one holds: 4 lb, 1 l, 2 pouches, 12 each.")
    )
    price = MoneyField(
        label=_("Price of one package"), widget=forms.TextInput(attrs={"inputmode": "decimal", "maxlength": 12})
    )
    token = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = bare_helper()

    def written(self) -> dict[str, Any]:
        """Of a valid form: what `price_note` takes."""
        told = dict(self.cleaned_data)
        return {"cents": told.pop("price"), **told}
