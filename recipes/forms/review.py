from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

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
        label=_("Where the source prints this acid for this food, and how it was tested"),
        help_text=_("Publication, page and the amounts. Without it, what only a tested recipe may have stays out."),
        max_length=LONGEST_REASON,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = bare_helper()


class FoodForm(forms.Form):
    """What a reviewer found words to be that the acid list does not know."""

    words = forms.ChoiceField(label=_("Words"))
    kind = forms.ChoiceField(label=_("Class"), choices=[("", _("choose")), *ClassedFood.Kind.choices])
    ph = forms.CharField(
        label=_("Highest printed pH"), help_text=_("For a fruit, such as 3.9."), max_length=10, required=False
    )
    source = forms.CharField(
        label=_("Where it is printed"), max_length=LONGEST_REASON, widget=forms.Textarea(attrs={"rows": 2})
    )

    prefix = "food"

    def __init__(self, *args: Any, words: Iterable[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["words"].choices = [(each, each) for each in dict.fromkeys(words)]  # type: ignore[attr-defined]
        self.helper = bare_helper()
