"""Choosing two lid lots to lay side by side."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.jars.models import LidLot

OFFERED = 200


class CompareForm(forms.Form):
    a = forms.ModelChoiceField(label=_("This lid lot"), queryset=LidLot.objects.none())
    b = forms.ModelChoiceField(label=_("and this one"), queryset=LidLot.objects.none())

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        lots = list(LidLot.objects.all()[:OFFERED])
        for name in ("a", "b"):
            field = self.fields[name]
            assert isinstance(field, forms.ModelChoiceField)
            field.queryset = LidLot.objects.all()
            # One read for both lists, and a bounded one; an older lot can still be named in the address.
            field.choices = [("", "–"), *((lot.pk, str(lot)) for lot in lots)]

    def clean(self) -> dict[str, Any]:
        told = self.cleaned_data
        if told.get("a") is not None and told.get("a") == told.get("b"):
            raise forms.ValidationError(_("Choose two different lots."))
        return told
