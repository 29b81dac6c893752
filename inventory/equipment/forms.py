"""Forms of things, their tests and their state. What was typed stays; a service's refusal appears beside its field."""

from __future__ import annotations

from dataclasses import fields
from decimal import Decimal
from typing import Any
from uuid import uuid4

from crispy_forms.helper import FormHelper
from crispy_forms.layout import HTML, Column, Layout, Row, Submit
from django import forms
from django.utils.html import format_html
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.members.choices import Skill
from club.members.models import Kitchen
from inventory.equipment.describing import (
    CARE_LENGTH,
    MOST_JARS,
    NAME_LENGTH,
    NOTE_LENGTH,
    PLACE_LENGTH,
)
from inventory.equipment.fields import MoneyField, day_field
from inventory.equipment.kinds import NO_SKILL, Kind, Measure
from inventory.equipment.models import Thing
from inventory.equipment.rules import MOST_TURNAROUND_DAYS, TEST_RULES, Reading
from inventory.equipment.services import ThingFields
from inventory.equipment.words import Condition
from recipes.engine.quantities import JAR_SIZES
from recipes.words import JARS

ROWS_OF_READINGS = 4
THING_FIELDS = [one.name for one in fields(ThingFields)]
DIGITS = {"inputmode": "numeric"}


def helper(*layout: Any, submit: str, css: str = "btn-lg", action: str = "") -> FormHelper:
    made = FormHelper()
    made.form_action = action
    made.layout = Layout(*layout) if layout else None
    made.add_input(Submit("send", submit, css_class=css))
    return made


def heading(text: str) -> HTML:
    return HTML(format_html('<h2 class="h4">{}</h2>', text))


class TokenForm(forms.Form):
    """Carries a token, so that two presses are one."""

    token = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)


class ThingForm(TokenForm):
    kind = forms.ChoiceField(label=_("Kind"), choices=Kind.choices)
    code = forms.CharField(
        label=_("Code on its label"),
        max_length=20,
        required=False,
        help_text=_("Empty: the next free one of its kind."),
    )
    name = forms.CharField(label=_("Name"), max_length=NAME_LENGTH, help_text=_("As one would ask for it."))
    home = forms.ModelChoiceField(label=_("At home in"), queryset=Kitchen.objects.none(), required=False)
    place = forms.CharField(label=_("Where it stands"), max_length=PLACE_LENGTH, required=False)
    deposit_cents = MoneyField(label=_("Deposit"))
    deposit_note = forms.CharField(label=_("About the deposit"), max_length=NOTE_LENGTH, required=False)
    turnaround_own = forms.IntegerField(
        label=_("Days for cleaning after each loan"),
        min_value=0,
        max_value=MOST_TURNAROUND_DAYS,
        required=False,
        help_text=_("Empty: as usual for its kind."),
    )
    skill_own = forms.ChoiceField(
        label=_("Whoever borrows it must have learned"),
        choices=[("", _("as usual for its kind")), (NO_SKILL, _("nothing")), *Skill.choices],
        required=False,
    )
    care = forms.CharField(
        label=_("Care"), max_length=CARE_LENGTH, required=False, widget=forms.Textarea(attrs={"rows": 4})
    )

    def __init__(self, *args: Any, thing: Thing | None = None, **kwargs: Any) -> None:
        if thing is not None:
            names = [name for name in THING_FIELDS if name != "capacity"]
            jars = {f"jars_{size}": count for size, count in thing.capacity.items()}
            kwargs["initial"] = {name: getattr(thing, name) for name in names} | jars
        super().__init__(*args, **kwargs)
        home = self.fields["home"]
        assert isinstance(home, forms.ModelChoiceField)
        home.queryset = Kitchen.objects.filter(is_hall=True)
        for size in JAR_SIZES:
            self.fields[f"jars_{size}"] = forms.IntegerField(
                label=str(JARS[size]),
                min_value=1,
                max_value=MOST_JARS,
                required=False,
                widget=forms.NumberInput(attrs=DIGITS),
            )
        jars = Row(*(Column(f"jars_{size}", css_class="col-6 col-md-3") for size in JAR_SIZES))
        pair = "col-md-6"
        self.helper = helper(
            "token",
            Row(Column("kind", css_class=pair), Column("code", css_class=pair)),
            "name",
            Row(Column("home", css_class=pair), Column("place", css_class=pair)),
            Row(Column("deposit_cents", css_class=pair), Column("deposit_note", css_class=pair)),
            Row(Column("turnaround_own", css_class=pair), Column("skill_own", css_class=pair)),
            heading(gettext("Jars it takes at once")),
            jars,
            "care",
            submit=gettext("Keep it") if thing else gettext("Add it"),
        )

    def described(self) -> ThingFields:
        told = dict(self.cleaned_data)
        told.pop("token")
        jars = {size: told.pop(f"jars_{size}") for size in JAR_SIZES}
        return ThingFields(**told, capacity={size: count for size, count in jars.items() if count})


class PhotoForm(forms.Form):
    photo = forms.FileField(
        label=_("Picture"),
        help_text=_("JPEG, PNG or WebP, at most 8 MB."),
        widget=forms.ClearableFileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
    )

    def __init__(self, *args: Any, action: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = helper(submit=gettext("Show this picture"), css="", action=action)


class ConditionForm(forms.Form):
    """What a keeper notes of a thing between loans: how it looks, or that its state changes."""

    act = forms.ChoiceField(label=_("What was done"))
    condition = forms.ChoiceField(label=_("Condition"), choices=Condition.choices, initial=Condition.GOOD)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)

    def __init__(self, *args: Any, acts: list[tuple[str, Any]], action: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["act"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = acts
        pair = Row(Column("act", css_class="col-md-6"), Column("condition", css_class="col-md-6"))
        self.helper = helper(pair, "note", submit=gettext("Write it down"), css="", action=action)


class InstrumentForm(TokenForm):
    """A gauge test or a calibration: pairs of what the reference said and what the instrument showed."""

    tested_on = day_field(_("Tested on"))
    reference = forms.CharField(label=_("Held against"), max_length=160)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)

    def __init__(self, *args: Any, measure: Measure, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.measure = measure
        rows = []
        for n in range(1, ROWS_OF_READINGS + 1):
            said = {"n": n, "unit": measure.value}
            self.fields[f"reference_{n}"] = self._number(gettext("Reference %(n)s (%(unit)s)") % said, n)
            self.fields[f"shown_{n}"] = self._number(gettext("Shown %(n)s (%(unit)s)") % said, n)
            rows.append(Row(Column(f"reference_{n}", css_class="col-6"), Column(f"shown_{n}", css_class="col-6")))
        self.helper = helper("token", "tested_on", "reference", *rows, "note", submit=gettext("Record the test"))

    def _number(self, label: str, row: int) -> forms.DecimalField:
        return forms.DecimalField(
            label=label,
            max_digits=5,
            decimal_places=2,
            min_value=Decimal(0),
            max_value=Decimal(100),
            required=row <= TEST_RULES[self.measure].fewest,
            widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "any"}),
        )

    def clean(self) -> dict[str, Any]:
        told = super().clean() or {}
        for n in range(1, ROWS_OF_READINGS + 1):
            pair = [told.get(f"reference_{n}"), told.get(f"shown_{n}")]
            if pair.count(None) == 1 and f"shown_{n}" not in self.errors and f"reference_{n}" not in self.errors:
                self.add_error(f"shown_{n}", _("A reading has both: what the reference said and what was shown."))
        return told

    def written(self) -> dict[str, Any]:
        """The keyword arguments of gauge_test_record or calibration_record."""
        told = self.cleaned_data
        pairs = [(told[f"reference_{n}"], told[f"shown_{n}"]) for n in range(1, ROWS_OF_READINGS + 1)]
        readings = [Reading(reference, shown) for reference, shown in pairs if shown is not None]
        kept = ("token", "tested_on", "reference", "note")
        return {"readings": readings, **{name: told[name] for name in kept}}
