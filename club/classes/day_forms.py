"""Forms of the day and of what is written afterwards."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.classes.models.day import CAPTION_LENGTH, NOTE_LENGTH
from club.classes.services.roll_call import COMPANION_LENGTH, PARTY
from inventory.equipment.fields import PersonField
from inventory.equipment.forms import PhotoForm, TokenForm, helper


class CallForm(forms.Form):
    """One press on the roll: how many came; empty takes it back."""

    came = forms.IntegerField(required=False, min_value=0, max_value=PARTY)


class WalkInForm(TokenForm):
    person = PersonField(label=_("Who is it?"), help_text=_("A member, by email or name."))
    companion = forms.CharField(
        label=_("Who comes along?"),
        max_length=COMPANION_LENGTH,
        required=False,
        help_text=_("A guest's name, where she brings somebody. Empty: she is alone."),
    )

    def __init__(self, *args: Any, action: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = helper("token", "person", "companion", submit=gettext("Take her in"), action=action)

    def written(self) -> dict[str, Any]:
        """The keyword arguments of walk_in_take."""
        return {**self.cleaned_data, "places": PARTY if self.cleaned_data["companion"] else 1}


class CompanionForm(forms.Form):
    name = forms.CharField(max_length=COMPANION_LENGTH, required=False)


class LearnedForm(forms.Form):
    learned = forms.CharField(
        label=_("What was learned"),
        max_length=NOTE_LENGTH,
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=_("For everybody who came: what went well, what to do otherwise."),
    )

    def __init__(self, *args: Any, submit: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = helper("learned", submit=submit)


class OwnNoteForm(forms.Form):
    text = forms.CharField(
        label=_("Your own note"),
        max_length=NOTE_LENGTH,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("For yourself; the session's instructors read it too."),
    )

    def __init__(self, *args: Any, action: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = helper("text", submit=gettext("Keep the note"), css="", action=action)


class SessionPhotoForm(TokenForm, PhotoForm):
    caption = forms.CharField(
        label=_("What it shows"),
        max_length=CAPTION_LENGTH,
        help_text=_("Said to who cannot see it. Ask the people in it first."),
    )

    def __init__(self, *args: Any, action: str, **kwargs: Any) -> None:
        super().__init__(*args, action=action, **kwargs)
        self.helper = helper("token", "photo", "caption", submit=gettext("Add the picture"), css="", action=action)
