"""Forms of offers, claims and the freezer. What was typed stays; a service's refusal appears beside its field."""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from datetime import date, time, timedelta
from decimal import Decimal
from typing import Any

from crispy_forms.layout import Column, Layout, Row
from django import forms
from django.utils.formats import date_format
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.core.fields import Fold, LineField, MomentField, day_field, token_field
from club.core.forms import fields_helper, form_helper
from club.members.models import Kitchen, User, default_kitchen
from inventory.fruit.choices import FruitState
from inventory.fruit.models import (
    ABOUT_LENGTH,
    NAME_LENGTH,
    NOTE_LENGTH,
    WHERE_LENGTH,
    Claim,
    FreezerItem,
    FreezerState,
    Offer,
    PickUpWindow,
    TakenFor,
)
from inventory.fruit.produce import CONTAINERS, grams_in, grams_typed, produce_choices, weight_typed, weight_unit
from inventory.fruit.validators import FREEZER_LENGTHS, FreezerFields, Hours, OfferFields
from recipes.forms.plans import kitchen_choices, set_choices

WINDOWS = ("", "_2", "_3")  # the ends of the field names of three pick-up windows
NOT_FILLED = [("", "–")]
WEIGHED = [("kg", "kg"), ("lb", "lb")]
USUAL_FROM, USUAL_TO = time(17), time(19)


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


def photo_field(**options: Any) -> forms.FileField:
    return forms.FileField(
        label=_("Picture"),
        help_text=_(
            "JPEG, PNG or WebP, at most 8 MB. Where it was taken is not kept."
            " Nobody in it who has not agreed to be shown."
        ),
        widget=forms.ClearableFileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
        **options,
    )


class OfferForm(forms.Form):
    """What, how much, when and where; whatever else there is to say is folded away."""

    token = token_field()
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

    name = LineField(label=_("Sort, or what else it is"), max_length=NAME_LENGTH, required=False)
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
    photo = photo_field(required=False)

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
        data = super().clean() or {}
        for end in WINDOWS[1:]:
            given = [bool(data.get(f"{name}{end}")) for name in ("day", "starts", "ends")]
            if any(given) and not all(given):
                self.add_error(f"day{end}", _("A time to pick up has a day, from and to."))
        unit, amounts = data.get("unit"), [data.get("amount"), data.get("kept")]
        if unit in CONTAINERS and any(one is not None and one % 1 for one in amounts):
            self.add_error("amount", _("Containers are counted whole. Offer the rest by weight."))
        return data

    def offer_fields(self) -> OfferFields:
        """Only of a valid form."""
        data = self.cleaned_data
        container = data["unit"] if data["unit"] in CONTAINERS else ""
        each = data["each"]
        as_typed = ("produce", "where", "name", "frozen_on", "about_where", "grown", "use_by", "closes_at", "note")
        return OfferFields(
            amount=self._units(data["amount"]),
            container=container,
            each_g=None if each is None or not container else grams_typed(each, weight_unit(self.by.units)),
            kept=self._units(data["kept"] or Decimal(0)),
            windows=tuple(
                Hours(data[f"day{end}"], data[f"starts{end}"], data[f"ends{end}"])
                for end in WINDOWS
                if data[f"day{end}"]
            ),
            state=data["state"] or FruitState.FRESH,
            **{name: data[name] for name in as_typed},
        )

    def _units(self, value: Decimal) -> int:
        unit = self.cleaned_data["unit"]
        return int(value) if unit in CONTAINERS else grams_typed(value, unit)


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
        labels = {"asked": gettext("How much I would like"), "least": gettext("The least that is of use to me")}
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

    def units_of(self, name: str) -> int:
        """In the offer's units; a pound rounded to its hundredth never asks for more than all there is."""
        value = self.cleaned_data.get(name)
        if value is None:
            return 1
        if self.offer.container:
            return int(value)
        grams, most = grams_typed(value, self.unit), self.offer.to_share
        return most if 0 < grams - most <= 5 else grams

    def claim_fields(self) -> dict[str, Any]:
        """The keyword arguments of `claim_set`, the recipe left out. Only of a valid form."""
        return {
            "asked": self.units_of("asked"),
            "least": max(self.units_of("least"), 1),
            "windows": [one.pk for one in self.cleaned_data["windows"]],
            "note": self.cleaned_data["note"],
        }


def claim_initial(offer: Offer, by: User, claim: Claim | None, pot_units: int | None) -> dict[str, Any]:
    """What the form starts with: the claim so far; the pot that was chosen."""
    initial: dict[str, Any] = {}
    if claim is not None:
        initial = {
            "asked": units_typed(offer, by, claim.asked),
            "note": claim.note,
            "windows": list(claim.windows.all()),
        }
        initial["least"] = units_typed(offer, by, claim.least) if claim.least > 1 else None
    if pot_units is not None:
        initial["least"] = units_typed(offer, by, pot_units)
        initial.setdefault("asked", initial["least"])
    return initial


def units_typed(offer: Offer, by: User, count: int) -> Decimal:
    return Decimal(count) if offer.container else weight_typed(count, weight_unit(by.units))


def window_words(window: PickUpWindow) -> str:
    return f"{date_format(window.day, 'D j M')}, {window.starts:%H:%M}–{window.ends:%H:%M}"


# What a giver changes: what the offer says, what is kept back, its picture, taking it back


class DetailsForm(forms.ModelForm):
    """What may still be changed when others have read it: never what, how much or when."""

    use_by = day_field(_("Best used by"))

    class Meta:
        model = Offer
        fields = ("where", "about_where", "grown", "use_by", "note")
        labels = {"where": _("Where to pick it up")}
        widgets = {"note": forms.Textarea(attrs={"rows": 2})}

    def __init__(self, *args: Any, offer: Offer, **kw: Any) -> None:
        # A copy: what was typed is nothing that the offer says before the service has agreed.
        super().__init__(*args, **kw | {"instance": copy(offer)})
        self.helper = form_helper(submit=gettext("Keep it so"))


class KeepBackForm(forms.Form):
    def __init__(self, *args: Any, offer: Offer, by: User, **kw: Any) -> None:
        kw.setdefault("initial", {"kept": units_typed(offer, by, offer.kept)})
        super().__init__(*args, **kw)
        self.offer, self.unit = offer, weight_unit(by.units)
        measure = CONTAINERS[offer.container] if offer.container else self.unit
        label = gettext("I keep back")
        self.fields["kept"] = amount_field(f"{label} ({measure})", whole=bool(offer.container))
        self.helper = form_helper(submit=gettext("Keep so much"), css="")

    def kept(self) -> int:
        value = self.cleaned_data["kept"]
        return int(value) if self.offer.container else grams_typed(value, self.unit)


class TakeBackForm(forms.Form):
    reason = forms.CharField(label=_("Why"), max_length=200, help_text=_("Those who claimed some will read it."))

    def __init__(self, *args: Any, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.helper = form_helper(submit=gettext("Take the offer back"), css="btn-danger")


class PictureForm(forms.Form):
    photo = photo_field()

    def __init__(self, *args: Any, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.helper = form_helper(submit=gettext("Show this picture"), css="")


# The freezer. Weights are typed as people say them, with a unit; a bare number is grams.


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
    grams = grams_in(text)
    if grams is None:
        raise forms.ValidationError(message)
    return grams


def bags_field(label: Any, **kwargs: Any) -> forms.IntegerField:
    return forms.IntegerField(
        label=label, required=False, min_value=0, widget=forms.NumberInput(attrs={"inputmode": "numeric"}), **kwargs
    )


class FreezerForm(forms.Form):
    """What lies in the freezer: four fields everybody fills in, the rest folded away."""

    token = token_field()
    what = forms.CharField(
        label=_("What is it?"),
        max_length=FREEZER_LENGTHS["what"],
        widget=forms.TextInput(attrs={"list": "produce-words", "autocomplete": "off", "autocapitalize": "none"}),
    )
    grams = WeightField(label=_("How much?"), help_text=_("Such as 2.4 kg, 800 g or 3 lb."))
    frozen_on = day_field(_("Frozen on"))
    kitchen = forms.TypedChoiceField(label=_("In whose kitchen?"), coerce=int)
    state = forms.ChoiceField(label=_("Kept as"), choices=FreezerState.choices, initial=FreezerState.FRUIT)
    bags = bags_field(_("Bags or boxes"))
    with_sugar = forms.BooleanField(label=_("Frozen with sugar"), required=False)
    freezer = forms.CharField(
        label=_("Which freezer?"),
        required=False,
        max_length=FREEZER_LENGTHS["freezer"],
        help_text=_("If there is more than one, such as: chest in the cellar."),
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=FREEZER_LENGTHS["note"])

    def __init__(self, *args: Any, user: User, submit: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.kitchens = {one.pk: one for one in Kitchen.objects.usable_by(user).order_by("is_hall", "name", "pk")}
        default = default_kitchen(user, self.kitchens.values())
        set_choices(self.fields["kitchen"], kitchen_choices(self.kitchens, default))
        if default is not None:
            self.fields["kitchen"].initial = default.pk
        if default is not None and len(self.kitchens) == 1:
            self.fields["kitchen"].widget = forms.HiddenInput()
        self.helper = form_helper(
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
            submit=submit or gettext("Put it on the list"),
        )

    def item_fields(self) -> FreezerFields:
        """Only of a valid form."""
        data = {name: value for name, value in self.cleaned_data.items() if name != "token"}
        kitchen = self.kitchens[data["kitchen"]]
        return FreezerFields(**data | {"kitchen": kitchen, "bags": data["bags"] or None})


def initial_of(item: FreezerItem) -> dict[str, Any]:
    """What a form to mend a lot starts with."""
    names = ("what", "frozen_on", "state", "bags", "with_sugar", "freezer", "note")
    return {**{name: getattr(item, name) for name in names}, "kitchen": item.kitchen_id, "grams": f"{item.grams} g"}


class TakeForm(forms.Form):
    token = token_field()
    grams = WeightField(label=_("How much comes out?"))
    bags = bags_field(_("Bags or boxes"))
    reason = forms.ChoiceField(label=_("What for?"), choices=TakenFor.choices, initial=TakenFor.USED)
    note = forms.CharField(label=_("Note"), required=False, max_length=FREEZER_LENGTHS["note"])

    def __init__(self, *args: Any, item: FreezerItem, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["grams"].initial = f"{item.grams_left} g"
        self.fields["bags"].initial = item.bags_left
        if item.bags is None:
            del self.fields["bags"]
        self.helper = fields_helper(gettext("Take it out"))
        self.helper.disable_csrf = True  # the template writes the token
        self.helper.layout = Layout(
            "token",
            Row(
                Column("grams", css_class="col-6"),
                Column("bags" if "bags" in self.fields else "reason", css_class="col-6"),
            ),
            *(["reason"] if "bags" in self.fields else []),
            Fold(gettext("A note"), "note"),
        )

    def taking_fields(self) -> dict[str, Any]:
        """The keyword arguments of `freezer_item_take`."""
        return {**self.cleaned_data, "bags": self.cleaned_data.get("bags") or 0}
