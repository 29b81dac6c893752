"""Forms of the season: what a household goes through, how it does its evenings, and jars that left the shelf."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.dates import WEEKDAYS
from django.utils.formats import date_format
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.core.fields import LineField, count_field, token_field
from club.core.forms import fields_helper
from club.season.harvest import WEEKS, Weeks, regions
from club.season.models import KEPT_KINDS, NOTE_LENGTH, SIZES, HouseholdSeason, kind_word
from inventory.batches.models import FOOD_KEY_LENGTH
from inventory.batches.services import keeping_foods
from inventory.jars.choices import Reason
from recipes.choices import CANNERS
from recipes.models import Recipe, unbarred

CANNER_CHOICES = [("", _("as the recipe has it")), *CANNERS.items()]
KIND_MARK = "|"


class TargetForm(forms.Form):
    """A recipe, or a kind of some produce; the choices are what the published library has."""

    recipe = forms.TypedChoiceField(label=_("One recipe"), required=False, coerce=int, empty_value=None)
    of_kind = forms.ChoiceField(label=_("or any recipe of a kind"), required=False)
    jar_size = forms.ChoiceField(label=_("Jar"), choices=list(SIZES.items()), initial="half-pint")
    jars = count_field(_("Jars a year"))
    canner = forms.ChoiceField(
        label=_("Canner"),
        required=False,
        choices=CANNER_CHOICES,
        help_text=_("For vegetables, meat and fish: which pressure canner you have."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = list(Recipe.objects.published().order_by("title", "pk").values_list("pk", "title", "kind", "produce"))
        kinds = {(one.way, one.food) for one in keeping_foods() if one.way in KEPT_KINDS}
        kinds |= {(kind, food) for _pk, _title, kind, produce in rows for food in unbarred(produce)}
        self.fields["recipe"].choices = [("", "–"), *((pk, title) for pk, title, _kind, _produce in rows)]  # type: ignore[attr-defined]
        self.fields["of_kind"].choices = [  # type: ignore[attr-defined]
            ("", "–"),
            *((f"{kind}{KIND_MARK}{food}", f"{kind_word(kind)}: {food}") for kind, food in sorted(kinds)),
        ]
        self.helper = fields_helper(gettext("Note it"))

    def target(self) -> dict[str, Any]:
        """The keyword arguments of `target_set`."""
        data = self.cleaned_data
        kind, _mark, produce = data["of_kind"].partition(KIND_MARK)
        return {
            "recipe": Recipe.objects.filter(pk=data["recipe"]).first() if data["recipe"] else None,
            "kind": kind,
            "produce": produce,
            "jar_size": data["jar_size"],
            "jars": data["jars"],
            "canner": data["canner"],
        }


class HouseholdForm(forms.Form):
    hours = forms.DecimalField(
        label=_("How long is an evening, in hours?"),
        min_value=Decimal("0.5"),
        max_value=Decimal(15),
        max_digits=4,
        decimal_places=2,
        widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "0.25"}),
    )
    days = forms.MultipleChoiceField(
        label=_("On which evenings of a week?"),
        choices=[(str(number), name) for number, name in enumerate(WEEKDAYS.values(), start=1)],
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text=_("With none of them it stays as it was."),
    )
    lids_at_home = count_field(_("New lids at home"), least=0)
    is_counted = forms.BooleanField(
        label=_("Count us in when the club works out what to order"),
        required=False,
        help_text=_("Whoever runs the club's orders then sees your sums: jars, pots and what is short."),
    )

    def __init__(self, *args: Any, household: HouseholdSeason, **kwargs: Any) -> None:
        kwargs["initial"] = {
            "hours": f"{household.evening_minutes / 60:g}",
            "days": list(household.evening_days),
            "lids_at_home": household.lids_at_home,
            "is_counted": household.is_counted,
        }
        super().__init__(*args, **kwargs)
        self.helper = fields_helper(gettext("Save"))

    def settings(self) -> dict[str, Any]:
        """The keyword arguments of `household_set`."""
        data = self.cleaned_data
        return {
            "evening_minutes": int(data["hours"] * 60),
            "evening_days": "".join(data["days"]),
            "lids_at_home": data["lids_at_home"],
            "is_counted": data["is_counted"],
        }


class UseForm(forms.Form):
    """Which button was pressed says what became of the jars."""

    token = token_field()
    what = forms.ChoiceField(choices=[(reason.value, reason.label) for reason in (Reason.EMPTIED, Reason.GIVEN)])
    recipe = forms.IntegerField(min_value=0)
    food = forms.CharField(max_length=FOOD_KEY_LENGTH, required=False)
    size = forms.ChoiceField(choices=list(SIZES.items()))
    count = count_field(_("How many?"), initial=1)


class RegionForm(forms.Form):
    region = forms.ChoiceField(label=_("The nearest calendar, by its climate"))

    def __init__(self, *args: Any, chosen: str = "", **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"region": chosen})
        super().__init__(*args, **kwargs)
        empty = [] if chosen else [("", "–")]
        self.fields["region"].choices = [*empty, *((key, str(one)) for key, one in regions().items())]  # type: ignore[attr-defined]
        self.helper = fields_helper(gettext("The club is there"))


def week_choices() -> list[tuple[str, str]]:
    """Every week by its number and the day on which it begins in a usual year."""
    return [
        ("", "–"),
        *(
            (str(week), gettext("week %(n)s, from %(day)s") % {"n": week, "day": date_format(monday, "j F")})
            for week in range(1, WEEKS + 1)
            for monday in [Weeks(week, week).days[0]]
        ),
    ]


class HarvestWeeksForm(forms.Form):
    """The weeks of one produce, of what the calendars or the recipes name."""

    produce = forms.ChoiceField(label=_("What"))
    first_week = forms.TypedChoiceField(label=_("From"), required=False, coerce=int, empty_value=None)
    last_week = forms.TypedChoiceField(label=_("Until the end of"), required=False, coerce=int, empty_value=None)
    note = LineField(label=_("How you know"), required=False, max_length=NOTE_LENGTH)

    def __init__(self, *args: Any, produce: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["produce"].choices = [("", "–"), *produce]  # type: ignore[attr-defined]
        for name in ("first_week", "last_week"):
            self.fields[name].choices = week_choices()  # type: ignore[attr-defined]
        self.helper = fields_helper(gettext("Add this line"))
