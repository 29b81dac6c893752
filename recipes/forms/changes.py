"""What somebody would like to change about a recipe: one change a line."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from recipes.forms.viewing import bare_helper

MOST_CHANGES = 20
LONGEST_CHANGE = 200


class ChangesForm(forms.Form):
    """Bound to the query. When valid, `asked` are the changes in order, without empty lines."""

    change = forms.CharField(
        label=_("What would you change? One change a line."),
        max_length=MOST_CHANGES * (LONGEST_CHANGE + 2),
        widget=forms.Textarea(attrs={"rows": 4}),
        error_messages={"required": _("Write at least one change, such as: less sugar.")},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = bare_helper()

    def clean_change(self) -> str:
        text = str(self.cleaned_data["change"])
        lines = _lines(text)
        if not lines:
            raise ValidationError(self.fields["change"].error_messages["required"], code="required")
        if len(lines) > MOST_CHANGES:
            raise ValidationError(_("At most %(most)s changes at once.") % {"most": MOST_CHANGES}, code="too-many")
        if any(len(line) > LONGEST_CHANGE for line in lines):
            raise ValidationError(
                _("At most %(most)s letters for one change.") % {"most": LONGEST_CHANGE}, code="too-long"
            )
        return text

    @property
    def asked(self) -> list[str]:
        """Only of a valid form."""
        return _lines(self.cleaned_data["change"])


def _lines(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]
