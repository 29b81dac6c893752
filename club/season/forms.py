"""Forms of the season: what a household goes through, how it does its evenings, and jars that left the shelf."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.core.fields import count_field, token_field
from club.core.forms import fields_helper
from club.season.models import KEPT_KINDS, SIZES, HouseholdSeason, kind_word
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
    lids_at_home = count_field(_("New lids at home"), least=0)
    is_counted = forms.BooleanField(
        label=_("Count us in when the club works out what to order"),
        required=False,
        help_text=_("Whoever runs the club's orders then sees your sums: jars, pots and what is short."),
    )

    def __init__(self, *args: Any, household: HouseholdSeason, **kwargs: Any) -> None:
        kwargs["initial"] = {
            "hours": f"{household.evening_minutes / 60:g}",
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
