"""Forms of a sign-up. What was typed stays; a service's refusal appears beside its field."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.classes.models import SignUp
from club.classes.services.seats import COMPANION_LENGTH, NEEDS_LENGTH
from club.members.models import User
from inventory.equipment.forms import TokenForm, helper

LONGEST_KEY = 19  # digits, of a database's key
PLACES = [(1, _("I come alone")), (2, _("We come as two"))]


def companion_field(**options: Any) -> forms.CharField:
    told = {"label": _("Who comes along"), "max_length": COMPANION_LENGTH, **options}
    return forms.CharField(widget=forms.TextInput(attrs={"autocomplete": "off"}), **told)


def needs_field() -> forms.CharField:
    return forms.CharField(
        label=_("Allergies, and what you need to get in and around"),
        help_text=_(
            "Only the instructors of this session see this, and nobody who comes to teach it later unless you say so."
            " It is erased a week after it, or with your seat if you give that up."
        ),
        max_length=NEEDS_LENGTH,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3, "autocomplete": "off"}),
    )


class NamedField(forms.CharField):
    """The instructors whom the page names, by key: a form that lay open while others came does not tell these."""

    def __init__(self) -> None:
        super().__init__(required=False, widget=forms.HiddenInput)

    def clean(self, value: Any) -> list[int] | None:
        parts = [part for part in super().clean(value).split(",") if part]
        keys = [part for part in parts if part.isascii() and part.isdecimal() and len(part) <= LONGEST_KEY]
        return [int(key) for key in keys] if parts else None

    @staticmethod
    def shown(teachers: Iterable[User]) -> str:
        return ",".join(str(person.pk) for person in teachers)


class SignUpForm(TokenForm):
    places = forms.TypedChoiceField(
        label=_("How many"), choices=PLACES, coerce=int, initial=1, widget=forms.RadioSelect
    )
    companion = companion_field(required=False, help_text=_("Only when you come as two: a name is enough."))
    needs = needs_field()
    named = NamedField()

    def __init__(self, *args: Any, action: str, teachers: Iterable[User] = (), submit: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["named"].initial = NamedField.shown(teachers)
        self.helper = helper(submit=submit or gettext("Sign up"), action=action)

    def written(self) -> dict[str, Any]:
        """The keyword arguments of signup_place."""
        return dict(self.cleaned_data)


class NotesForm(forms.Form):
    companion = companion_field()
    needs = needs_field()
    named = NamedField()

    def __init__(self, data: Any = None, *, signup: SignUp, teachers: Iterable[User]) -> None:
        told = {"companion": signup.companion, "needs": signup.needs, "named": NamedField.shown(teachers)}
        super().__init__(data, initial=told)
        if signup.places == 1:
            del self.fields["companion"]
        self.helper = helper(submit=gettext("Save"))
