from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from recipes.forms.viewing import bare_helper

LONGEST_REASON = 1000


class ReasonForm(forms.Form):
    """A note to the author, or the reason of a withdrawal."""

    reason = forms.CharField(max_length=LONGEST_REASON, widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args: Any, label: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reason"].label = label
        self.helper = bare_helper()


class WithdrawForm(ReasonForm):
    """Why, and a yes to what it calls back. `calls_back` says that in words; what was said comes back with the yes."""

    calls_back = forms.CharField(widget=forms.HiddenInput, required=False)
    confirmed = forms.BooleanField(
        error_messages={"required": gettext_lazy("Say that you have read what this does, and tick it.")}
    )

    def __init__(self, *args: Any, calls_back: str, **kwargs: Any) -> None:
        super().__init__(*args, label=_("Why it is withdrawn"), **kwargs)
        self.told = calls_back
        self.fields["calls_back"].initial = calls_back
        sentence = _("Withdraw it for good, and call back %(what)s.") % {"what": calls_back}
        self.fields["confirmed"].label = sentence if calls_back else _("Withdraw it for good. No jar comes from it.")

    def clean_confirmed(self) -> bool:
        """Jars may have been filled since the page was opened: what is called back now was not agreed to."""
        if self.cleaned_data["calls_back"] != self.told:
            # Asked for anew, with what holds now and without the tick.
            kept = {key: self.data[key] for key in self.data if key != "confirmed"}
            self.data = {**kept, "calls_back": self.told}
            text = _("Jars came or went since you opened this page: look again at what is called back, and tick it.")
            raise forms.ValidationError(text)
        return True
