from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext, gettext_lazy

from recipes.forms.viewing import bare_helper
from recipes.models import ClassedFood

LONGEST_REASON = 1000


class ReasonForm(forms.Form):
    """A note to the author, or the reason of a withdrawal."""

    reason = forms.CharField(max_length=LONGEST_REASON, widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args: Any, label: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reason"].label = label
        self.helper = bare_helper()


class AcidForm(forms.Form):
    """The reviewer's word on an acid that no tested recipe here has."""

    acid_seen = forms.CharField(
        label=gettext_lazy("Where the source prints this acid for this food, and how it was tested"),
        help_text=gettext_lazy(
            "Publication, page and the amounts. Without it, what only a tested recipe may have stays out."
        ),
        max_length=LONGEST_REASON,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = bare_helper()


class FoodForm(forms.Form):
    """What a reviewer found words to be that the acid list does not know."""

    words = forms.ChoiceField(label=gettext_lazy("Words"))
    kind = forms.ChoiceField(
        label=gettext_lazy("Class"), choices=[("", gettext_lazy("choose")), *ClassedFood.Kind.choices]
    )
    ph = forms.CharField(
        label=gettext_lazy("Highest printed pH"),
        help_text=gettext_lazy("For a fruit, such as 3.9."),
        max_length=10,
        required=False,
    )
    source = forms.CharField(
        label=gettext_lazy("Where it is printed"), max_length=LONGEST_REASON, widget=forms.Textarea(attrs={"rows": 2})
    )

    prefix = "food"

    def __init__(self, *args: Any, words: Iterable[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["words"].choices = [(each, each) for each in dict.fromkeys(words)]  # type: ignore[attr-defined]
        self.helper = bare_helper()


class WithdrawForm(ReasonForm):
    """Why, and a yes to what it calls back. `calls_back` says that in words; what was said comes back with the yes."""

    calls_back = forms.CharField(widget=forms.HiddenInput, required=False)
    confirmed = forms.BooleanField(
        error_messages={"required": gettext_lazy("Say that you have read what this does, and tick it.")}
    )

    def __init__(self, *args: Any, calls_back: str, **kwargs: Any) -> None:
        super().__init__(*args, label=gettext("Why it is withdrawn"), **kwargs)
        self.told = calls_back
        self.fields["calls_back"].initial = calls_back
        sentence = gettext("Withdraw it for good, and call back %(what)s.") % {"what": calls_back}
        self.fields["confirmed"].label = (
            sentence if calls_back else gettext("Withdraw it for good. No jar comes from it.")
        )

    def clean_confirmed(self) -> bool:
        """Jars may have been filled since the page was opened: what is called back now was not agreed to."""
        if self.cleaned_data["calls_back"] != self.told:
            # Asked for anew, with what holds now and without the tick.
            kept = {key: self.data[key] for key in self.data if key != "confirmed"}
            self.data = {**kept, "calls_back": self.told}
            text = gettext(
                "Jars came or went since you opened this page: look again at what is called back, and tick it."
            )
            raise forms.ValidationError(text)
        return True
