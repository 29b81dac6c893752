"""Forms for surplus jars: offering some, asking for some, and handing them over."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import uuid4

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Submit
from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.batches.forms import MOST_JARS, helper
from inventory.batches.services.giving import OFFER_NOTE_LENGTH
from recipes.words import JARS


def count_field(label: Any) -> forms.IntegerField:
    return forms.IntegerField(
        label=label, min_value=1, max_value=MOST_JARS, widget=forms.NumberInput(attrs={"inputmode": "numeric"})
    )


class JarOfferForm(forms.Form):
    """`free`: how many jars of each size can be offered."""

    token = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    size = forms.ChoiceField(label=_("Which jars?"))
    count = count_field(_("How many?"))
    by_choice = forms.ChoiceField(
        label=_("Who gets them?"),
        choices=[("", _("who comes first")), ("choice", _("I choose among those who ask"))],
        required=False,
    )
    note = forms.CharField(
        label=_("Note"),
        required=False,
        max_length=OFFER_NOTE_LENGTH,
        help_text=_("When and where they can be had, such as: Saturdays at the hall."),
    )

    def __init__(self, *args: Any, free: Mapping[str, int], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        told = gettext("%(size)s (%(n)s can be offered)")
        choices = [(size, told % {"size": JARS[size], "n": n}) for size, n in free.items() if n]
        self.fields["size"].choices = choices  # type: ignore[attr-defined]
        self.helper = helper(submit=gettext("Offer these jars"))

    def clean_by_choice(self) -> bool:
        return bool(self.cleaned_data["by_choice"])


class JarClaimForm(forms.Form):
    token = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    count = count_field(_("How many would you like?"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = _bare(gettext("Ask for them"))


def _bare(submit: str) -> FormHelper:
    """The fields and a button: the template writes the form around them."""
    made = FormHelper()
    made.form_tag = False
    made.disable_csrf = True
    made.add_input(Submit("send", submit))
    return made
