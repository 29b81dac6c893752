"""Forms of offers and claims. What was typed stays; a service's refusal appears beside its field."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, time, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Column, Layout, Row, Submit
from django import forms
from django.utils.formats import date_format
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.core.fields import Fold, MomentField
from club.members.models import User
from inventory.fruit.amounts import grams_typed, weight_typed, weight_unit
from inventory.fruit.containers import CONTAINERS
from inventory.fruit.describing import Hours, OfferFields
from inventory.fruit.models import Claim, Offer, PickUpWindow
from inventory.fruit.models.offers import ABOUT_LENGTH, NAME_LENGTH, NOTE_LENGTH, WHERE_LENGTH
from inventory.fruit.offer_words import FruitState
from inventory.fruit.produce import produce_choices

WINDOWS = ("", "_2", "_3")  # the ends of the field names of three pick-up windows
NOT_FILLED = [("", "–")]
WEIGHED = [("kg", "kg"), ("lb", "lb")]
USUAL_FROM, USUAL_TO = time(17), time(19)


def day_field(label: Any, **options: Any) -> forms.DateField:
    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    return forms.DateField(label=label, widget=widget, **options)


def hour_field(label: Any, **options: Any) -> forms.TimeField:
    return forms.TimeField(label=label, widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"), **options)


def amount_field(label: Any, *, whole: bool = False, **options: Any) -> forms.DecimalField:
    """Kilograms or pounds to a hundredth, or whole containers."""
    attrs = {"inputmode": "numeric" if whole else "decimal", "step": "1" if whole else "any", "autocomplete": "off"}
    return forms.DecimalField(
        label=label,
        max_digits=8,
        decimal_places=0 if whole else 2,
        widget=forms.NumberInput(attrs=attrs),
        **({"min_value": Decimal(0)} | options),
    )


def form_helper(*layout: Any, submit: str, css: str = "btn-lg", action: str = "") -> FormHelper:
    made = FormHelper()
    made.form_action = action
    made.layout = Layout(*layout) if layout else None
    made.add_input(Submit("send", submit, css_class=css))
    return made


class OfferForm(forms.Form):
    """What, how much, when and where; whatever else there is to say is folded away."""

    token = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    produce = forms.ChoiceField(label=_("What"), choices=[*NOT_FILLED, *produce_choices()])
    amount = amount_field(_("How much"))
    unit = forms.ChoiceField(
        label=_("Of what"),
        choices=[*WEIGHED, *CONTAINERS.items()],
        help_text=_("A container goes whole to one person: write 4 pecks, or the weight, for a bushel to be divided."),
    )
    where = forms.CharField(
        label=_("Where to pick it up"),
        max_length=WHERE_LENGTH,
        help_text=_("Only those who get a share read this."),
        widget=forms.TextInput(attrs={"autocomplete": "street-address"}),
    )

    name = forms.CharField(label=_("Sort, or what else it is"), max_length=NAME_LENGTH, required=False)
    # Fresh is the empty choice, so that its fold stays shut.
    state = forms.ChoiceField(
        label=_("State"),
        required=False,
        choices=[("" if value == FruitState.FRESH else value, label) for value, label in FruitState.choices],
    )
    frozen_on = day_field(_("Frozen since"), required=False)
    each = amount_field(_("What one full container weighs"), required=False)
    kept = amount_field(_("I keep back"), required=False, help_text=_("In the same measure as above."))
    about_where = forms.CharField(
        label=_("About where"),
        max_length=ABOUT_LENGTH,
        required=False,
        help_text=_("Everybody reads this: a part of town, no address."),
    )
    grown = forms.CharField(label=_("How it was grown"), max_length=WHERE_LENGTH, required=False)
    use_by = day_field(_("Best used by"), required=False, help_text=_("Empty: as we estimate it."))
    closes_at = MomentField(
        label=_("Claims close"),
        required=False,
        help_text=_("Empty: four hours before the first pick-up."),
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )
    note = forms.CharField(
        label=_("Note"), max_length=NOTE_LENGTH, required=False, widget=forms.Textarea(attrs={"rows": 2})
    )
    photo = forms.FileField(
        label=_("Picture"),
        required=False,
        help_text=_("JPEG, PNG or WebP, at most 8 MB. Where it was taken is not kept."),
        widget=forms.ClearableFileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
    )

    def __init__(self, *args: Any, by: User, today: date, where: str = "", about_where: str = "", **kw: Any) -> None:
        self.by = by
        tomorrow = today + timedelta(days=1)
        usual = {"day": tomorrow, "starts": USUAL_FROM, "ends": USUAL_TO, "unit": weight_unit(by.units)}
        kw["initial"] = usual | {"where": where, "about_where": about_where}
        super().__init__(*args, **kw)
        for end in WINDOWS:
            self.fields[f"day{end}"] = day_field(_("Day"), required=not end)
            self.fields[f"starts{end}"] = hour_field(_("From"), required=not end)
            self.fields[f"ends{end}"] = hour_field(_("To"), required=not end)
        self.fields["each"].label = gettext("What one full container weighs (%(unit)s)") % {
            "unit": weight_unit(by.units)
        }
        half = "col-6"
        self.helper = form_helper(
            "token",
            "produce",
            Row(Column("amount", css_class=half), Column("unit", css_class=half)),
            self._hours(""),
            "where",
            Fold(gettext("Its sort; frozen, or juice"), "name", "state", "frozen_on"),
            Fold(gettext("What a container weighs; what you keep"), "each", "kept"),
            Fold(
                gettext("More times to pick up; when claims close"), self._hours("_2"), self._hours("_3"), "closes_at"
            ),
            Fold(gettext("A picture, and what else to say"), "photo", "about_where", "grown", "use_by", "note"),
            submit=gettext("Offer it"),
        )

    @staticmethod
    def _hours(end: str) -> Row:
        parts = (
            Column(f"day{end}", css_class="col-12 col-sm-6"),
            *(Column(f"{name}{end}", css_class="col-6 col-sm-3") for name in ("starts", "ends")),
        )
        return Row(*parts)

    def clean(self) -> dict[str, Any]:
        told = super().clean() or {}
        for end in WINDOWS[1:]:
            given = [bool(told.get(f"{name}{end}")) for name in ("day", "starts", "ends")]
            if any(given) and not all(given):
                self.add_error(f"day{end}", _("A time to pick up has a day, from and to."))
        unit, amounts = told.get("unit"), [told.get("amount"), told.get("kept")]
        if unit in CONTAINERS and any(one is not None and one % 1 for one in amounts):
            self.add_error("amount", _("Containers are counted whole. Offer the rest by weight."))
        return told

    def fields_told(self) -> OfferFields:
        told = self.cleaned_data
        container = told["unit"] if told["unit"] in CONTAINERS else ""
        each = told["each"]
        plain = (
            "produce",
            "where",
            "name",
            "frozen_on",
            "about_where",
            "grown",
            "use_by",
            "closes_at",
            "note",
        )
        return OfferFields(
            amount=self._units(told["amount"]),
            container=container,
            each_g=None if each is None or not container else grams_typed(each, weight_unit(self.by.units)),
            kept=self._units(told["kept"] or Decimal(0)),
            windows=tuple(self._windows()),
            state=told["state"] or FruitState.FRESH,
            **{name: told[name] for name in plain},
        )

    def _units(self, value: Decimal) -> int:
        unit = self.cleaned_data["unit"]
        return int(value) if unit in CONTAINERS else grams_typed(value, unit)

    def _windows(self) -> list[Hours]:
        told = self.cleaned_data
        return [
            Hours(told[f"day{end}"], told[f"starts{end}"], told[f"ends{end}"]) for end in WINDOWS if told[f"day{end}"]
        ]


class ClaimForm(forms.Form):
    """How much would help, the least that is of use, and when one could come."""

    asked = forms.DecimalField()
    least = forms.DecimalField()
    windows = forms.ModelMultipleChoiceField(
        label=_("I can come"), queryset=PickUpWindow.objects.none(), widget=forms.CheckboxSelectMultiple
    )
    note = forms.CharField(label=_("Note to the giver"), max_length=200, required=False)
    recipe = forms.SlugField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, offer: Offer, by: User, windows: Sequence[PickUpWindow], **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.offer, self.unit = offer, weight_unit(by.units)
        whole = bool(offer.container)
        measure = CONTAINERS[offer.container] if whole else self.unit
        labels = {"asked": gettext("So much would help"), "least": gettext("Less than this is of no use to me")}
        for name, label in labels.items():
            self.fields[name] = amount_field(f"{label} ({measure})", whole=whole, required=name == "asked")
        self.fields["least"].help_text = gettext("Empty: any amount is welcome.")
        field = self.fields["windows"]
        assert isinstance(field, forms.ModelMultipleChoiceField)
        field.queryset = PickUpWindow.objects.filter(pk__in=[one.pk for one in windows])
        field.label_from_instance = window_words  # type: ignore[method-assign, assignment]
        if len(windows) == 1:
            field.initial = windows
        self.helper = form_helper("asked", "least", "windows", "note", "recipe", submit=gettext("Send the claim"))

    @property
    def recipe_slug(self) -> str:
        return str(self.cleaned_data["recipe"])

    def units_of(self, name: str) -> int:
        """In the offer's units; a pound rounded to its hundredth never asks for more than all there is."""
        value = self.cleaned_data.get(name)
        if value is None:
            return 1
        if self.offer.container:
            return int(value)
        grams, most = grams_typed(value, self.unit), self.offer.to_share
        return most if 0 < grams - most <= 5 else grams

    def written(self) -> dict[str, Any]:
        """The keyword arguments of claim_set, the recipe left out."""
        return {
            "asked": self.units_of("asked"),
            "least": max(self.units_of("least"), 1),
            "windows": [one.pk for one in self.cleaned_data["windows"]],
            "note": self.cleaned_data["note"],
        }


def claim_initial(offer: Offer, by: User, claim: Claim | None, pot_units: int | None) -> dict[str, Any]:
    """What the form starts with: the claim so far; the pot that was chosen."""
    told: dict[str, Any] = {}
    if claim is not None:
        told = {"asked": units_typed(offer, by, claim.asked), "note": claim.note, "windows": list(claim.windows.all())}
        told["least"] = units_typed(offer, by, claim.least) if claim.least > 1 else None
    if pot_units is not None:
        told["least"] = units_typed(offer, by, pot_units)
        told.setdefault("asked", told["least"])
    return told


def units_typed(offer: Offer, by: User, count: int) -> Decimal:
    return Decimal(count) if offer.container else weight_typed(count, weight_unit(by.units))


def window_words(window: PickUpWindow) -> str:
    return f"{date_format(window.day, 'D j M')}, {window.starts:%H:%M}–{window.ends:%H:%M}"
