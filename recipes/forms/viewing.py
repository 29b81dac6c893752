"""For whom a page is shown: which kitchen's altitude, which units."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, cast

from crispy_forms.helper import FormHelper
from django import forms
from django.utils.translation import gettext_lazy as _

from club.members.models import Kitchen, Units, User, default_kitchen


def bare_helper() -> FormHelper:
    """The fields only: the template writes the form around them, so that the address holds nothing but the fields."""
    helper = FormHelper()
    helper.form_tag = False
    helper.disable_csrf = True
    return helper


def set_choices(field: forms.Field, choices: list[tuple[Any, Any]]) -> None:
    cast(forms.ChoiceField, field).choices = choices


def kitchen_choices(kitchens: Mapping[int, Kitchen], default: Kitchen | None) -> list[tuple[Any, Any]]:
    """With "choose" before them where none is the person's default: else a browser takes the first by name."""
    blank = [] if default else [("", _("choose"))]
    return [*blank, *((pk, str(kitchen)) for pk, kitchen in kitchens.items())]


class KitchenForm(forms.Form):
    """A form with one of the person's kitchens in it, by its id. `kitchens` are read in one query."""

    kitchen = forms.TypedChoiceField(
        label=_("Kitchen"),
        coerce=int,
        empty_value=None,
        error_messages={"invalid_choice": _("This is not a kitchen that you can use. Choose one of yours or a hall.")},
    )

    def __init__(self, data: Any = None, *, user: User, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.kitchens = {k.pk: k for k in Kitchen.objects.usable_by(user).order_by("is_hall", "name", "pk")}
        self.default = default_kitchen(user, self.kitchens.values())
        set_choices(self.fields["kitchen"], kitchen_choices(self.kitchens, self.default))
        self.fields["kitchen"].initial = self.default.pk if self.default else None
        self.helper = bare_helper()

    @property
    def chosen_kitchen(self) -> Kitchen | None:
        """The kitchen asked for, of a bound form; none where the wish is wrong."""
        self.is_valid()
        return self.kitchens.get(self.cleaned_data.get("kitchen") or 0)


class OwnKitchenForm(KitchenForm):
    """Bound to a query that need not name a kitchen: then it is the person's default, or none is chosen."""

    def __init__(self, data: Any, *, user: User) -> None:
        super().__init__(user=user)
        self.data = {"kitchen": self.default.pk if self.default else "", **data.dict()}
        self.is_bound = True
        self.fields["kitchen"].required = self.default is not None


class ViewForm(OwnKitchenForm):
    """`?kitchen=` and `?units=` of a page, each with the person's own as default."""

    units = forms.ChoiceField(label=_("Units"), choices=Units.choices)

    def __init__(self, data: Any, *, user: User) -> None:
        super().__init__(data, user=user)
        self._own_units = str(user.units)
        self.data = {"units": user.units, **self.data}

    @property
    def chosen_units(self) -> str:
        self.is_valid()
        return str(self.cleaned_data.get("units", self._own_units))

    @property
    def units_word(self) -> str:
        return str(Units(self.chosen_units).label)
