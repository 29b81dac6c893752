from __future__ import annotations

from typing import Any

from django import forms

from recipes.forms.viewing import bare_helper

LONGEST_REASON = 1000


class ReasonForm(forms.Form):
    """A note to the author, or the reason of a withdrawal."""

    reason = forms.CharField(max_length=LONGEST_REASON, widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args: Any, label: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reason"].label = label
        self.helper = bare_helper()
