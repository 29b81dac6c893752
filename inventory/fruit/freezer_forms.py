"""Forms of the freezer. Weights are typed as people say them, with a unit; a bare number is grams."""

from __future__ import annotations

from fractions import Fraction
from math import floor
from typing import Any
from uuid import uuid4

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Column, Layout, Row, Submit
from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.core.fields import Fold
from club.members.models import Kitchen, User, default_kitchen
from inventory.fruit.models import FreezerItem, FreezerState, TakenFor
from inventory.fruit.services.freezer import LENGTHS, FreezerFields
from recipes.engine.quantities import UNITS, AmountError, parse_amount
from recipes.forms.viewing import kitchen_choices, set_choices


class WeightField(forms.CharField):
    """ "2.4 kg", "3 lb" or "800"; whole grams, rounded down: never more than there is."""

    default_error_messages = {
        "weight": _("Write a weight, such as 2.4 kg, 800 g or 3 lb."),
    }

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.TextInput(attrs={"autocomplete": "off"})
        super().__init__(**{"max_length": 30, "widget": widget, **kwargs})

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        return grams_from(text, self.error_messages["weight"]) if text else None


def grams_from(text: str, message: Any) -> int:
    """ValidationError with `message` for what is no weight."""
    plain = text.strip()
    try:
        amount = parse_amount(f"{plain} g" if plain.replace(".", "", 1).isdigit() else plain)
    except AmountError as error:
        raise forms.ValidationError(message) from error
    if UNITS[amount.unit].kind != "mass":
        raise forms.ValidationError(message)
    return floor(amount.value * Fraction(UNITS[amount.unit].size))


def bags_field(label: Any, **kwargs: Any) -> forms.IntegerField:
    return forms.IntegerField(
        label=label, required=False, min_value=0, widget=forms.NumberInput(attrs={"inputmode": "numeric"}), **kwargs
    )


class FreezerForm(forms.Form):
    """What lies in the freezer: four fields everybody fills in, the rest folded away."""

    token = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    what = forms.CharField(
        label=_("What is it?"),
        max_length=LENGTHS["what"],
        widget=forms.TextInput(attrs={"list": "produce-words", "autocomplete": "off", "autocapitalize": "none"}),
    )
    grams = WeightField(label=_("How much?"), help_text=_("Such as 2.4 kg, 800 g or 3 lb."))
    frozen_on = forms.DateField(label=_("Frozen on"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    kitchen = forms.TypedChoiceField(label=_("In whose kitchen?"), coerce=int)
    state = forms.ChoiceField(label=_("Kept as"), choices=FreezerState.choices, initial=FreezerState.FRUIT)
    bags = bags_field(_("Bags or boxes"))
    with_sugar = forms.BooleanField(label=_("Frozen with sugar"), required=False)
    freezer = forms.CharField(
        label=_("Which freezer?"),
        required=False,
        max_length=LENGTHS["freezer"],
        help_text=_("If there is more than one, such as: chest in the cellar."),
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=LENGTHS["note"])

    def __init__(self, *args: Any, user: User, submit: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.kitchens = {one.pk: one for one in Kitchen.objects.usable_by(user).order_by("is_hall", "name", "pk")}
        default = default_kitchen(user, self.kitchens.values())
        set_choices(self.fields["kitchen"], kitchen_choices(self.kitchens, default))
        if default is not None:
            self.fields["kitchen"].initial = default.pk
        if default is not None and len(self.kitchens) == 1:
            self.fields["kitchen"].widget = forms.HiddenInput()
        self.helper = FormHelper()
        self.helper.layout = Layout(
            "token",
            Row(Column("what", css_class="col-sm-6"), Column("grams", css_class="col-sm-6")),
            Row(Column("frozen_on", css_class="col-sm-6"), Column("kitchen", css_class="col-sm-6")),
            Fold(
                gettext("Juice or purée, bags, sugar, which freezer, a note"),
                Row(Column("state", css_class="col-6"), Column("bags", css_class="col-6")),
                "with_sugar",
                "freezer",
                "note",
            ),
        )
        self.helper.add_input(Submit("send", submit or gettext("Put it on the list"), css_class="btn-lg"))

    def written(self) -> FreezerFields:
        """Only of a valid form."""
        told = {key: value for key, value in self.cleaned_data.items() if key not in ("token", "kitchen")}
        return FreezerFields(
            kitchen=self.kitchens[self.cleaned_data["kitchen"]], **{**told, "bags": told["bags"] or None}
        )


def initial_of(item: FreezerItem) -> dict[str, Any]:
    """What a form to mend a lot starts with."""
    names = ("what", "frozen_on", "state", "bags", "with_sugar", "freezer", "note")
    return {**{name: getattr(item, name) for name in names}, "kitchen": item.kitchen_id, "grams": f"{item.grams} g"}


class TakeForm(forms.Form):
    token = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    grams = WeightField(label=_("How much comes out?"))
    bags = bags_field(_("Bags or boxes"))
    reason = forms.ChoiceField(label=_("What for?"), choices=TakenFor.choices, initial=TakenFor.USED)
    note = forms.CharField(label=_("Note"), required=False, max_length=LENGTHS["note"])

    def __init__(self, *args: Any, item: FreezerItem, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["grams"].initial = f"{item.grams_left} g"
        self.fields["bags"].initial = item.bags_left
        if item.bags is None:
            del self.fields["bags"]
        self.helper = FormHelper()
        self.helper.layout = Layout(
            "token",
            Row(
                Column("grams", css_class="col-6"),
                Column("bags" if "bags" in self.fields else "reason", css_class="col-6"),
            ),
            *(["reason"] if "bags" in self.fields else []),
            Fold(gettext("A note"), "note"),
        )
        self.helper.form_tag = False
        self.helper.disable_csrf = True
        self.helper.add_input(Submit("send", gettext("Take it out"), css_class="btn-lg"))

    def written(self) -> dict[str, Any]:
        """The keyword arguments of `freezer_item_take`."""
        return {**self.cleaned_data, "bags": self.cleaned_data.get("bags") or 0}
