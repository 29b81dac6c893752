"""Forms of the room. What was typed stays; a service's refusal appears beside its field."""

from __future__ import annotations

import re
from collections.abc import Sequence
from copy import copy
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

from crispy_forms.layout import Column, Row
from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.core.fields import LineField, PersonField, day_field
from club.core.forms import TokenForm, form_helper, heading
from club.core.money import MoneyField
from club.members.choices import Skill
from club.members.models import Kitchen, Units, User, kitchen_words
from inventory.equipment.choices import (
    CANNER_KINDS,
    NO_SKILL,
    PARTS_OUTCOMES,
    Condition,
    Kind,
    Measure,
    Part,
    PartState,
    kind_label,
)
from inventory.equipment.description import FIELDS, ThingFields, fields_of
from inventory.equipment.models import KEEP, Loan, Thing
from inventory.equipment.rules import (
    CARE_LENGTH,
    LONGEST_DAYS,
    MOST_JARS,
    MOST_TURNAROUND_DAYS,
    NAME_LENGTH,
    TEST_RULES,
    Reading,
)
from recipes.choices import JARS
from recipes.engine import boiling_point_c
from recipes.engine.quantities import JAR_SIZES


def deposit_field(label: Any) -> MoneyField:
    """Nothing typed is no deposit: 0."""
    return MoneyField(
        label=label,
        required=False,
        empty_value=0,
        error_messages={"invalid": _("Give a sum such as 20 or 20.50.")},
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off", "maxlength": 10}),
    )


# Forms of things, their tests and their state. What was typed stays; a service's refusal appears beside its field.

ROWS_OF_READINGS = 4
DIGITS = {"inputmode": "numeric"}


def jars_field(size: str) -> forms.IntegerField:
    return forms.IntegerField(
        label=str(JARS[size]),
        min_value=1,
        max_value=MOST_JARS,
        required=False,
        widget=forms.NumberInput(attrs=DIGITS),
    )


class SizesField(forms.CharField):
    """Sizes of jars as text, "half-pint, pint": what is not sent can be told from what was emptied."""

    def prepare_value(self, value: Any) -> Any:
        return ", ".join(value) if isinstance(value, list | tuple) else value

    def to_python(self, value: Any) -> Any:
        return [size for size in re.split(r"[,;\s]+", str(value or "").lower()) if size]


def two_layers_field() -> SizesField:
    return SizesField(
        label=_("Sizes that stand two layers deep"),
        required=False,
        max_length=120,
        help_text=_(
            "Such as half-pint, pint: with a rack between the layers. The numbers above are those of one layer."
        ),
    )


class ThingForm(TokenForm, forms.ModelForm):
    """A field for each of ThingFields, most of them the model's own; the capacity has one for each size of jar."""

    field_order = ("token", "kind", "code")  # as the page shows them: what is wrong is listed in this order

    kind = forms.ChoiceField(label=_("Kind"), choices=Kind.choices)
    deposit_cents = deposit_field(_("Deposit"))
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
    two_layers = two_layers_field()
    care = forms.CharField(
        label=_("Care"), max_length=CARE_LENGTH, required=False, widget=forms.Textarea(attrs={"rows": 4})
    )

    class Meta:
        model = Thing
        fields = tuple(name for name in FIELDS if name != "capacity")
        labels = {"code": _("Code on its label"), "home": _("At home in")}
        help_texts = {"code": _("Empty: the next free one of its kind."), "name": _("As one would ask for it.")}

    def __init__(self, *args: Any, thing: Thing | None = None, **kwargs: Any) -> None:
        capacity = {f"jars_{size}": count for size, count in thing.capacity.items()} if thing else {}
        self.before = fields_of(thing) if thing else ThingFields(kind="", name="")
        # A copy: what was typed is nothing that the thing is before the service has said so.
        super().__init__(*args, **kwargs | {"instance": copy(thing), "initial": capacity})
        self.fields["code"].required = False
        home = self.fields["home"]
        assert isinstance(home, forms.ModelChoiceField)
        home.queryset = Kitchen.objects.filter(is_hall=True)
        for size in JAR_SIZES:
            self.fields[f"jars_{size}"] = jars_field(size)
        jars = Row(*(Column(f"jars_{size}", css_class="col-6 col-md-3") for size in JAR_SIZES))
        pair = "col-md-6"
        self.helper = form_helper(
            "token",
            Row(Column("kind", css_class=pair), Column("code", css_class=pair)),
            "name",
            Row(Column("home", css_class=pair), Column("place", css_class=pair)),
            Row(Column("deposit_cents", css_class=pair), Column("deposit_note", css_class=pair)),
            Row(Column("turnaround_own", css_class=pair), Column("skill_own", css_class=pair)),
            heading(gettext("Jars in one layer")),
            jars,
            "two_layers",
            "care",
            submit=gettext("Keep it") if thing else gettext("Add it"),
        )
        # What the layout forgets is shown at the end: a field that is not on the page would come back empty.
        self.helper.render_unmentioned_fields = True

    def described(self) -> ThingFields:
        """What was typed. What was not sent at all stays as it was."""
        sent = {name: value for name, value in self.cleaned_data.items() if not self._is_left_out(name)}
        jars = {size: sent[f"jars_{size}"] for size in JAR_SIZES if f"jars_{size}" in sent}
        capacity = {size: count for size, count in (dict(self.before.capacity) | jars).items() if count}
        return replace(self.before, **{name: sent[name] for name in FIELDS if name in sent}, capacity=capacity)

    def _is_left_out(self, name: str) -> bool:
        widget = self.fields[name].widget
        return bool(widget.value_omitted_from_data(self.data, self.files, self.add_prefix(name)))


class OwnCannerForm(TokenForm):
    """The card of a household's own canner. `kitchens` are those it may belong to; none where the card is there."""

    kitchen = forms.ChoiceField(label=_("Whose kitchen is it at?"))
    kind = forms.ChoiceField(label=_("Kind"), choices=[(kind, kind_label(kind)) for kind in CANNER_KINDS])
    name = LineField(label=_("Name"), max_length=NAME_LENGTH, help_text=_("As you call it."))

    def __init__(self, *args: Any, kitchens: Sequence[Kitchen] = (), thing: Thing | None = None, **kwargs: Any) -> None:
        if thing is not None:
            told = {"name": thing.name, "two_layers": thing.two_layers}
            kwargs["initial"] = told | {f"jars_{size}": n for size, n in thing.capacity.items()}
        super().__init__(*args, **kwargs)
        if thing is None:
            field = self.fields["kitchen"]
            assert isinstance(field, forms.ChoiceField)
            field.choices = list(kitchen_words(kitchens).items())
            head = Row(Column("kitchen", css_class="col-md-6"), Column("kind", css_class="col-md-6"))
        else:
            del self.fields["kitchen"], self.fields["kind"]  # its tests and batches hang on them
            head = Row()
        for size in JAR_SIZES:
            self.fields[f"jars_{size}"] = jars_field(size)
        jars = Row(*(Column(f"jars_{size}", css_class="col-6 col-md-3") for size in JAR_SIZES))
        title = heading(gettext("Jars in one layer"))
        self.fields["two_layers"] = two_layers_field()
        submit = gettext("Keep this card") if thing is None else gettext("Keep it")
        self.helper = form_helper("token", head, "name", title, jars, "two_layers", submit=submit)

    def written(self) -> dict[str, Any]:
        """The keyword arguments of own_canner_add (but for the kitchen) or own_canner_change."""
        data = self.cleaned_data
        capacity = {size: data[f"jars_{size}"] for size in JAR_SIZES if data[f"jars_{size}"]}
        kept = {name: data[name] for name in ("kind", "name", "two_layers") if name in data}
        return kept | {"capacity": capacity}


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
        self.helper = form_helper(pair, "note", submit=gettext("Write it down"), css="", action=action)


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
            params = {"n": n, "unit": measure.value}
            self.fields[f"reference_{n}"] = self._number(gettext("Reference %(n)s (%(unit)s)") % params, n)
            self.fields[f"shown_{n}"] = self._number(gettext("Shown %(n)s (%(unit)s)") % params, n)
            rows.append(Row(Column(f"reference_{n}", css_class="col-6"), Column(f"shown_{n}", css_class="col-6")))
        self.helper = form_helper("token", "tested_on", "reference", *rows, "note", submit=gettext("Record the test"))

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
        cleaned = super().clean() or {}
        for n in range(1, ROWS_OF_READINGS + 1):
            pair = [cleaned.get(f"reference_{n}"), cleaned.get(f"shown_{n}")]
            if pair.count(None) == 1 and f"shown_{n}" not in self.errors and f"reference_{n}" not in self.errors:
                self.add_error(f"shown_{n}", _("A reading has both: what the reference said and what was shown."))
        return cleaned

    def written(self) -> dict[str, Any]:
        """The keyword arguments of instrument_test_record."""
        data = self.cleaned_data
        pairs = [(data[f"reference_{n}"], data[f"shown_{n}"]) for n in range(1, ROWS_OF_READINGS + 1)]
        readings = [Reading(reference, shown) for reference, shown in pairs if shown is not None]
        kept = ("token", "tested_on", "reference", "note")
        return {"readings": readings, **{name: data[name] for name in kept}}


class ThermometerForm(TokenForm):
    """A thermometer in ice water, in boiling water, or in both: what it showed, and where the water boiled."""

    tested_on = day_field(_("Tested on"))
    ice = forms.DecimalField(label=_("Shown in crushed ice and water"), required=False, max_digits=5, decimal_places=1)
    boiling = forms.DecimalField(label=_("Shown in boiling water"), required=False, max_digits=5, decimal_places=1)
    kitchen = forms.ModelChoiceField(
        label=_("Where it boiled"),
        queryset=Kitchen.objects.none(),
        required=False,
        help_text=_("Water boils cooler the higher a kitchen lies: its altitude says where it should be."),
    )
    note = forms.CharField(label=_("Note"), max_length=300, required=False)

    def __init__(self, *args: Any, user: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.unit = "°F" if user.units == Units.US else "°C"
        self.fields["kitchen"].queryset = Kitchen.objects.usable_by(user).exclude(altitude_m=None)  # type: ignore[attr-defined]
        for name in ("ice", "boiling"):
            self.fields[name].label = f"{self.fields[name].label} ({self.unit})"
            self.fields[name].widget.attrs |= {"inputmode": "decimal", "step": "any"}
        pair = Row(Column("ice", css_class="col-6"), Column("boiling", css_class="col-6"))
        self.helper = form_helper("token", "tested_on", pair, "kitchen", "note", submit=gettext("Record the test"))

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("ice") is None and cleaned.get("boiling") is None and not self.errors:
            self.add_error("ice", _("Give what it showed in ice water, in boiling water, or in both."))
        if cleaned.get("boiling") is not None and cleaned.get("kitchen") is None and "kitchen" not in self.errors:
            self.add_error("kitchen", _("Say in which kitchen the water boiled."))
        return cleaned

    def written(self) -> dict[str, Any]:
        """The keyword arguments of instrument_test_record, in degrees C."""
        data, readings, held = self.cleaned_data, [], []
        if data["ice"] is not None:
            readings.append(Reading(Decimal(0), self._celsius(data["ice"])))
            held.append(gettext("ice water"))
        if data["boiling"] is not None:
            kitchen = data["kitchen"]
            point = round(Decimal(boiling_point_c(kitchen.altitude)), 1)
            readings.append(Reading(point, self._celsius(data["boiling"])))
            params = {"c": point, "m": round(kitchen.altitude_m), "kitchen": kitchen.name}
            held.append(gettext("boiling water, %(c)s °C at %(m)s m (%(kitchen)s)") % params)
        kept = {name: data[name] for name in ("token", "tested_on", "note")}
        return {"readings": readings, "reference": "; ".join(held)[:160], **kept}

    def _celsius(self, shown: Decimal) -> Decimal:
        return shown if self.unit == "°C" else round((shown - 32) * 5 / 9, 2)


# Forms of holds, loans and waiting lines.

OUT_CONDITIONS = [(one.value, one.label) for one in (Condition.GOOD, Condition.WORN)]


class HoldForm(TokenForm):
    """The days, and for those who may: for whom and what for."""

    starts = day_field(_("First day"))
    ends = day_field(_("Last day"), help_text=_("The day on which it comes back."))

    def __init__(self, *args: Any, by: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        more = []
        if by.has_perm(KEEP):
            self.fields["person"] = PersonField(
                label=_("For whom"), required=False, help_text=_("Empty: for yourself.")
            )
            more.append("person")
        if by.has_perm("equipment.hold_for_class"):
            label = _("For a class or another purpose of the club's")
            self.fields["purpose"] = forms.CharField(label=label, max_length=120, required=False)
            more.append("purpose")
        days = Row(Column("starts", css_class="col-6"), Column("ends", css_class="col-6"))
        self.helper = form_helper("token", days, *more, submit=gettext("Hold it"))

    def written(self) -> dict[str, Any]:
        """The keyword arguments of hold_place."""
        return dict(self.cleaned_data)


class WaitForm(TokenForm):
    days = forms.IntegerField(
        label=_("How many days"), min_value=1, max_value=LONGEST_DAYS, widget=forms.NumberInput(attrs=DIGITS)
    )
    not_before = day_field(_("Not before"))
    not_after = day_field(_("Back by"))

    def __init__(self, *args: Any, action: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        third = [Column(name, css_class="col-sm-4") for name in ("days", "not_before", "not_after")]
        self.helper = form_helper("token", Row(*third), submit=gettext("Join the line"), css="", action=action)


class PartsTicked(forms.MultipleChoiceField):
    """Parts of a kind, one box each; nothing ticked is an empty list."""

    def __init__(self, **options: Any) -> None:
        super().__init__(required=False, widget=forms.CheckboxSelectMultiple, **options)

    def offer(self, parts: Sequence[str]) -> None:
        self.choices = [(part, Part(part).label) for part in parts]


class HandOverForm(TokenForm):
    person = PersonField(label=_("To whom"))
    due_on = day_field(_("Due back"))
    condition = forms.ChoiceField(
        label=_("Condition"), choices=OUT_CONDITIONS, initial=Condition.GOOD, widget=forms.RadioSelect
    )
    parts_out = PartsTicked(label=_("Parts that go along"))
    deposit_cents = deposit_field(_("Deposit taken"))
    purpose = forms.CharField(label=_("What for"), max_length=120, required=False)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)

    def __init__(self, *args: Any, parts: Sequence[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _offer_parts(self, "parts_out", parts)

    def written(self) -> dict[str, Any]:
        """The keyword arguments of loan_hand_over."""
        return dict(self.cleaned_data)


def _offer_parts(form: forms.Form, name: str, parts: Sequence[str]) -> None:
    """The boxes for these parts; for a thing that has none the field goes."""
    field = form.fields[name]
    assert isinstance(field, PartsTicked)
    field.offer(parts)
    if not parts:
        del form.fields[name]


class PartsLookForm(TokenForm):
    """The yearly look at each part of a kind of canner."""

    looked_on = day_field(_("Looked at on"))
    note = forms.CharField(label=_("Note"), max_length=300, required=False)

    def __init__(self, *args: Any, parts: Sequence[Part], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.parts = tuple(parts)
        for part in self.parts:
            self.fields[f"part_{part}"] = forms.ChoiceField(
                label=part.label, choices=[("", "–"), *PartState.choices], required=True
            )
        rows = Row(*(Column(f"part_{part}", css_class="col-6 col-md-4") for part in self.parts))
        self.helper = form_helper("token", "looked_on", rows, "note", submit=gettext("Write the look down"))

    def written(self) -> dict[str, Any]:
        """The keyword arguments of parts_look_record."""
        kept = {name: self.cleaned_data[name] for name in ("token", "looked_on", "note")}
        return kept | {"findings": {part: self.cleaned_data[f"part_{part}"] for part in self.parts}}


class TakeBackForm(TokenForm):
    condition = forms.ChoiceField(label=_("Condition"), choices=Condition.choices, widget=forms.RadioSelect)
    is_ready = forms.BooleanField(label=_("It is clean and may go out again at once"), required=False)
    missing_parts = forms.CharField(
        label=_("Missing or damaged parts"),
        max_length=300,
        required=False,
        help_text=_("Leave it empty if all is there and sound. The thing stays in until what stands here is settled."),
    )
    parts_in = PartsTicked(label=_("Parts that are back: untick what is missing or damaged"))
    note = forms.CharField(label=_("Note"), max_length=300, required=False)
    deposit = forms.ChoiceField(
        label=_("What became of the deposit?"),
        choices=[
            ("back", _("given back whole")),
            ("kept", _("kept, all or part of it")),
            ("", _("settled later")),
        ],
        required=False,
        widget=forms.RadioSelect,
    )
    deposit_back_cents = deposit_field(_("Given back of it"))
    deposit_note = forms.CharField(label=_("Why it was kept"), max_length=300, required=False)

    def __init__(self, *args: Any, loan: Loan, **kwargs: Any) -> None:
        kwargs["initial"] = {"parts_in": loan.parts_out, "missing_parts": loan.missing_parts}
        super().__init__(*args, **kwargs)
        self.loan = loan
        _offer_parts(self, "parts_in", loan.parts_out)
        if not loan.deposit_cents:
            for name in ("deposit", "deposit_back_cents", "deposit_note"):
                del self.fields[name]

    def _not_ticked(self, cleaned: dict[str, Any]) -> str:
        left = [part for part in self.loan.parts_out if part not in cleaned.get("parts_in", [])]
        return ", ".join(str(Part(part).label) for part in left)

    def written(self) -> dict[str, Any]:
        """The keyword arguments of loan_return: parts not ticked are missing, besides what was typed."""
        data = self.cleaned_data
        missing = ", ".join(filter(None, [self._not_ticked(data), data["missing_parts"]]))
        kept = {name: data[name] for name in ("token", "condition", "is_ready", "note")}
        return kept | {"missing_parts": missing} | deposit_written(self.loan, data)


def deposit_written(loan: Loan, data: dict[str, Any]) -> dict[str, Any]:
    """What goes back of the deposit, and why not all; None: it is settled later."""
    asked = data.get("deposit", "")
    if not asked:
        return {"deposit_back_cents": None}
    if asked == "back":
        return {"deposit_back_cents": loan.deposit_cents}
    return {"deposit_back_cents": data["deposit_back_cents"], "deposit_note": data["deposit_note"]}


class DepositForm(forms.Form):
    """What became of a deposit, said after the thing came back."""

    deposit = forms.ChoiceField(
        label=_("What became of the deposit?"),
        choices=[("back", _("given back whole")), ("kept", _("kept, all or part of it"))],
        widget=forms.RadioSelect,
    )
    deposit_back_cents = deposit_field(_("Given back of it"))
    deposit_note = forms.CharField(label=_("Why it was kept"), max_length=300, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(submit=gettext("Settle the deposit"))


class PartsForm(forms.Form):
    """What became of a missing or damaged part."""

    outcome = forms.ChoiceField(
        label=_("What became of it?"),
        choices=[(one.value, one.label) for one in PARTS_OUTCOMES],
        widget=forms.RadioSelect,
    )
    note = forms.CharField(
        label=_("Note"),
        max_length=300,
        required=False,
        help_text=_("What it was replaced by, or why the thing is withdrawn."),
    )

    def __init__(self, *args: Any, action: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.auto_id = "id_parts_%s"  # another form of the page has a note as well
        self.helper = form_helper("outcome", "note", submit=gettext("Settle it"), css="", action=action)


class ExtendForm(forms.Form):
    due_on = day_field(_("Keep it until"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(submit=gettext("Keep it longer"))


def hand_over_initial(thing: Thing, hold: Any, usual_due: date) -> dict[str, Any]:
    """What the counter fills in beforehand: the person and days of the hold that waits to be collected."""
    parts = list(thing.facts.parts)
    initial: dict[str, Any] = {"due_on": usual_due, "deposit_cents": thing.deposit_cents, "parts_out": parts}
    if hold is not None:
        initial |= {"person": hold.person, "due_on": hold.ends, "purpose": hold.purpose}
    return initial


# The lines of the paper sheet, as ten small forms on one page.

LINES = 10


class SheetToken(TokenForm):
    """One token for the whole page."""


class SheetLineForm(forms.Form):
    code = forms.CharField(label=_("Code"), max_length=60, required=False)
    person = PersonField(label=_("Given to"), required=False, help_text=_("Empty: it came back."))
    on = day_field(_("On"))
    due_on = day_field(_("Due back"), required=False)
    condition = forms.ChoiceField(label=_("Condition"), choices=Condition.choices, initial=Condition.GOOD)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)

    @property
    def is_filled(self) -> bool:
        return bool(self.cleaned_data.get("code"))

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not cleaned.get("code") and (cleaned.get("person") or cleaned.get("note")):
            self.add_error("code", _("Which thing?"))
        return cleaned

    def written(self) -> dict[str, Any]:
        """What a SheetRow is made of."""
        return dict(self.cleaned_data)


def sheet_forms(data: Any, *, initial: dict[str, Any]) -> list[SheetLineForm]:
    return [SheetLineForm(data, prefix=f"line-{n}", initial=initial) for n in range(1, LINES + 1)]


class ImportForm(forms.Form):
    file = forms.FileField(
        label=_("File"),
        help_text=_("CSV or XLSX, at most 5 MB, with the headings in its first row."),
        widget=forms.FileInput(attrs={"accept": ".csv,.xlsx"}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(submit=gettext("Look it over"))
