"""The three parts of the draft form: the head, one ingredient, one process row. They hold text; the engine reads it."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from club.core.fields import LineField
from recipes.engine.quantities import UNITS
from recipes.engine.terms import Method, Role, Seen
from recipes.engine.units import JAR_SIZES
from recipes.words import JARS, METHODS, PACKS, ROLES, SEEN

SEEN_IN_PRINT = [("", _("choose")), *((seen.value, SEEN[seen]) for seen in (Seen.TWICE, Seen.ONCE))]
BLANK = ("", "–")
PROCESS_METHODS = (Method.BOILING_WATER, Method.PRESSURE)


def text(label: Any, *, help_text: Any = "", most: int = 200, required: bool = False) -> LineField:
    return LineField(label=label, help_text=help_text, max_length=most, required=required)


def lines(label: Any, *, help_text: Any, rows: int, required: bool = True) -> forms.CharField:
    widget = forms.Textarea(attrs={"rows": rows})
    return forms.CharField(label=label, help_text=help_text, max_length=20_000, required=required, widget=widget)


def choice(label: Any, choices: Any, *, required: bool = False, help_text: Any = "") -> forms.ChoiceField:
    return forms.ChoiceField(label=label, choices=choices, required=required, help_text=help_text)


def minutes(label: Any, *, most: int = 600) -> forms.IntegerField:
    widget = forms.NumberInput(attrs={"inputmode": "numeric"})
    return forms.IntegerField(label=label, min_value=1, max_value=most, required=False, widget=widget)


def psi(label: Any) -> forms.IntegerField:
    return minutes(label, most=20)


class HeadForm(forms.Form):
    title = text(_("Title"), required=True)
    kind = text(_("Kind"), most=40, required=True, help_text=_("One word, such as jam, jelly, pickle or vegetable."))
    method = choice(_("Method"), [(m.value, METHODS[m]) for m in Method], required=True)
    produce = text(_("Produce"), most=400, required=True, help_text=_("With commas between, such as plums, apples."))
    pectin = choice(
        _("Added pectin"),
        [("", _("has no part in it")), ("none", _("none")), ("powdered", _("powdered")), ("liquid", _("liquid"))],
    )
    source_title = text(_("Tested source: title"), most=2000, required=True)
    source_edition = text(_("Edition or year"), most=2000)
    source_place = text(_("Page, table or address"), most=2000, required=True)
    headspace_in = text(_("Headspace, inches"), most=20, required=True, help_text=_("Such as 1/4."))
    yield_low = text(_("One pot fills, at least"), most=20, required=True)
    yield_high = text(_("at most"), most=20, required=True)
    yield_jar = choice(_("jars of"), [(size, JARS[size]) for size in JAR_SIZES], required=True)
    yield_seen = choice(_("This yield was"), [(seen.value, SEEN[seen]) for seen in Seen], required=True)
    yield_note = text(_("Note on the yield"), most=2000)
    pot_smallest = text(_("Smallest pot"), most=20, help_text=_("Of the printed amounts; left empty, just one pot."))
    pot_largest = text(_("Largest pot"), most=20)
    pot_step = text(_("In steps of"), most=20)
    pot_source = text(_("Source of these limits"), most=2000)
    boil_minutes = text(_("Full rolling boil, minutes"), most=20, help_text=_("Only with added pectin."))
    boil_last = text(_("begun after this went in"))
    boil_pectin = text(_("When the pectin goes in"))
    endpoint_f = text(_("End point, °F above boiling water"), most=20, help_text=_("Only without added pectin."))
    steps = lines(_("Steps"), help_text=_("One a line, in our own words."), rows=8)
    cautions = lines(_("Cautions"), help_text=_("One a line."), rows=4, required=False)
    note = text(_("Note"), most=2000)
    amounts_seen = choice(_("The amounts were"), SEEN_IN_PRINT, required=True)
    seen_statement = forms.CharField(
        label=_("What you read, and where"),
        help_text=_("Which publication and page you had before you, for the amounts and for the process."),
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )


class RowForm(forms.Form):
    """A row whose rarer fields are folded away until one of them says something, or is wrong."""

    def _says(self, *names: str) -> bool:
        return any(self[name].value() or self[name].errors for name in names)


class IngredientForm(RowForm):
    item = text(_("Ingredient"), required=True)
    prep = text(_("Prepared how"))
    role = choice(_("What it does"), [BLANK, *((r.value, ROLES[r]) for r in Role)], required=True)
    amount = text(_("Amount"), most=20, required=True)
    amount_high = text(_("up to"), most=20)
    unit = choice(_("Unit"), [BLANK, *((name, name) for name in UNITS)], required=True)
    optional = forms.BooleanField(label=_("may be left out"), required=False)
    as_bought = text(_("As bought"))
    grams = text(_("Weight in grams"), most=20)
    grams_source = text(_("Source of the weight"), most=2000)

    @property
    def has_more(self) -> bool:
        return self._says("optional", "as_bought", "grams", "grams_source")


class ProcessForm(RowForm):
    method = choice(
        _("Method"), [BLANK, *((m.value, METHODS[m]) for m in Method if m is not Method.FREEZER)], required=True
    )
    pack = choice(_("Pack"), [BLANK, *PACKS.items()], required=True)
    jar = choice(_("Jar"), [BLANK, *((size, JARS[size]) for size in JAR_SIZES)], required=True)
    minutes_1000 = minutes(_("Minutes up to 1,000 ft"))
    minutes_3000 = minutes(_("up to 3,000 ft"))
    minutes_6000 = minutes(_("up to 6,000 ft"))
    minutes_above = minutes(_("above"))
    pressure_minutes = minutes(_("Minutes under pressure"))
    dial_2000 = psi(_("Dial gauge, psi up to 2,000 ft"))
    dial_4000 = psi(_("up to 4,000 ft"))
    dial_6000 = psi(_("up to 6,000 ft"))
    dial_8000 = psi(_("up to 8,000 ft"))
    weighted_1000 = psi(_("Weighted gauge, psi up to 1,000 ft"))
    weighted_above = psi(_("above"))
    weighted_not_above = forms.BooleanField(label=_("not recommended above"), required=False)
    headspace_in = text(_("Headspace, where it differs"), most=20)
    seen = choice(_("This row was"), SEEN_IN_PRINT, required=True)
    source_title = text(_("Source, where it differs: title"), most=2000)
    source_edition = text(_("Edition or year"), most=2000)
    source_place = text(_("Page, table or address"), most=2000)
    note = text(_("Note"), most=2000)

    @property
    def has_pressure(self) -> bool:
        figures = [name for name in self.fields if name.startswith(("pressure_", "dial_", "weighted_"))]
        return self["method"].value() == Method.PRESSURE or self._says(*figures)

    @property
    def has_more(self) -> bool:
        return self._says("headspace_in", "note", "source_title", "source_edition", "source_place")
