from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.equipment.forms import helper


class ImportForm(forms.Form):
    file = forms.FileField(
        label=_("File"),
        help_text=_("CSV or XLSX, with the headings in its first row."),
        widget=forms.FileInput(attrs={"accept": ".csv,.xlsx"}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = helper(submit=gettext("Look it over"))
