"""Form fields of the room: a day, a sum of money, a person, and choices one can hit with a knuckle."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from club.core.money import cents_typed, money_words
from club.members.models import User


def day_field(label: Any, **options: Any) -> forms.DateField:
    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    return forms.DateField(label=label, widget=widget, **options)


class MoneyField(forms.CharField):
    """Typed as 20 or 20.50; gives whole cents."""

    def __init__(self, **options: Any) -> None:
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        super().__init__(max_length=10, required=False, widget=widget, **options)

    def prepare_value(self, value: Any) -> Any:
        return money_words(value) if isinstance(value, int) and value else ("" if value == 0 else value)

    def clean(self, value: Any) -> Any:
        cents = cents_typed(super().clean(value))
        if cents is None:
            raise forms.ValidationError(_("Give a sum such as 20 or 20.50."))
        return cents


class PersonField(forms.CharField):
    """A member, by email, or by a name that only one of them has. Gives the person."""

    def __init__(self, **options: Any) -> None:
        widget = forms.TextInput(attrs={"list": "people", "autocomplete": "off"})
        super().__init__(max_length=254, widget=widget, **options)

    def prepare_value(self, value: Any) -> Any:
        return value.email if isinstance(value, User) else value

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        return person_named(text) if text else None


def person_named(text: str) -> User:
    """ValidationError where nobody, or more than one, is called so."""
    active = User.objects.filter(is_active=True)
    found = list(active.filter(email__iexact=text)[:1]) or list(active.filter(name__iexact=text)[:2])
    if not found:
        raise forms.ValidationError(_("Nobody of the club is called so. Give the email."))
    if len(found) > 1:
        raise forms.ValidationError(_("More than one is called so. Give the email."))
    return found[0]
