"""What a person asks a plan for: in which kitchen, how much, in which jars. Also used to start a batch."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from crispy_forms.layout import HTML, Column, Layout, Row
from django import forms
from django.utils.translation import gettext_lazy as _

from club.core.fields import Fold
from club.members.models import Kitchen, User
from recipes.engine.process import process_choices
from recipes.engine.quantities import JAR_SIZES
from recipes.engine.terms import Canner, Pack, TestedRecipe
from recipes.forms.viewing import KitchenForm
from recipes.planning import PlanWish, WishError, plan_wish_from
from recipes.wishes import CAPACITIES, MOST_EMPTIES, WISH_FIELDS
from recipes.words import CANNERS, CAPACITY_WORDS, JARS, PACKS, STOVES

EMPTY = "empty_"  # and the jar size: the field of how many of it are at hand
GEAR_FIELDS = {  # and how wide each is on a phone
    "burners": "col-6",
    "canners": "col-6",
    "stove": "col-12",
    "capacity": "col-12",
    "cooks": "col-6",
    "finish": "col-6",
}
STOVE_CHOICES = [("", _("as usual (electric)")), *STOVES.items()]
CAPACITY_CHOICES = [("", _("as usual (7 quarts)")), *((size, CAPACITY_WORDS[size]) for size in CAPACITIES)]
# A template, so that it is put into the reader's language when it is shown.
EMPTIES_HELP = """{% load i18n %}<p class="form-text">{% translate "How many empty jars of each size there are. \
Left empty, there are as many as wanted of the one size." %}</p>"""


def text_field(label: Any, help_text: Any = "", **attrs: str) -> forms.CharField:
    return forms.CharField(
        label=label, help_text=help_text, required=False, max_length=40, widget=forms.TextInput(attrs=attrs)
    )


class PlanForm(KitchenForm):
    """Bound to the query of a plan. When valid: `asked_kitchen` (a Kitchen) and `wish` (a PlanWish).

    The choices are what the recipe's tested rows allow; another known jar, pack or canner in the query is kept, and
    the engine says why it is refused.
    """

    jars = text_field(_("Jars wanted"), inputmode="numeric")
    pots = text_field(_("or pots to cook"), inputmode="numeric")
    fruit = text_field(_("or prepared fruit at hand"), _("With its unit, such as 4.5 kg or 10 cups."))
    jar = forms.CharField(label=_("Jar"), required=False, widget=forms.Select)
    pack = forms.CharField(label=_("Pack"), required=False, widget=forms.Select)
    canner = forms.CharField(label=_("Canner"), required=False, widget=forms.Select)
    burners = text_field(_("Burners"), inputmode="numeric")
    stove = forms.CharField(label=_("Stove"), required=False, widget=forms.Select(choices=STOVE_CHOICES))
    canners = text_field(_("Canners"), inputmode="numeric")
    capacity = forms.ChoiceField(
        label=_("Size of a canner"),
        required=False,
        choices=CAPACITY_CHOICES,
        error_messages={"invalid_choice": _("Choose one of the canners in the list.")},
    )
    cooks = text_field(_("People cooking"), inputmode="numeric")
    finish = text_field(_("Last jar out at"), type="time")

    def __init__(self, data: Any = None, *, user: User, recipe: TestedRecipe, initial: Any = None) -> None:
        super().__init__(data, user=user, initial=initial)
        if data is not None and "kitchen" not in data and self.default is not None:
            # An address that names no kitchen means the person's own, as on the recipe's page.
            self.data = {**data.dict(), "kitchen": self.default.pk}
        self._recipe = recipe
        self._wish: PlanWish | None = None
        choices = process_choices(recipe.process)
        jars = choices.jars or (recipe.stated_yield.jar,)
        self._offer("jar", jars, JARS, JAR_SIZES)
        self._offer("pack", choices.packs, PACKS, tuple(Pack))
        self._offer("canner", choices.canners, CANNERS, tuple(Canner))
        self.empty_fields = self._ask_empties(jars)
        self.helper.layout = Layout(
            "kitchen",
            Row(
                Column("jars", css_class="col-6 col-sm-4"),
                Column("pots", css_class="col-6 col-sm-4"),
                Column("fruit", css_class="col-sm-4"),
            ),
            Row(*(Column(name, css_class="col-sm-4") for name in ("jar", "pack", "canner"))),
            Fold(
                _("Empty jars at hand, stove and time"),
                HTML(EMPTIES_HELP),
                Row(*(Column(name, css_class="col-6 col-sm-3") for name in self.empty_fields)),
                Row(*(Column(name, css_class=f"{width} col-sm-4") for name, width in GEAR_FIELDS.items())),
            ),
        )

    def _ask_empties(self, jars: Sequence[str]) -> dict[str, str]:
        """A field for each size up to the largest that was tested; a smaller jar may have a larger one's process."""
        largest = max(JAR_SIZES.index(jar) for jar in jars)
        fields = {f"{EMPTY}{size}": size for size in JAR_SIZES[: largest + 1]}
        for name, size in fields.items():
            self.fields[name] = text_field(JARS[size], inputmode="numeric")
        return fields

    def _offer(self, name: str, allowed: Any, words: Any, known: Any) -> None:
        """The allowed ones, and whichever known one the query has; where there is nothing to choose, no box."""
        asked = str(self.data.get(name, ""))
        values = [*allowed, *([asked] if asked in known and asked not in allowed else [])]
        blank = _("as the recipe has it") if len(allowed) <= 1 or name == "jar" else _("choose")
        if len(values) <= 1 and asked in ("", *map(str, values)):
            self.fields[name].widget = forms.HiddenInput()
        else:
            self.fields[name].widget.choices = [("", blank), *((str(value), words[value]) for value in values)]

    @classmethod
    def is_asked(cls, data: Any) -> bool:
        """Whether a query asks for a plan, and not merely for the page."""
        return any(name in data for name in ("jars", "pots", "fruit"))

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        cleaned["empties"] = self._empties(cleaned)
        try:
            self._wish = plan_wish_from({name: cleaned.get(name) for name in WISH_FIELDS})
        except WishError as error:
            for field, message in error.problems.items():
                if field not in self.errors:
                    self.add_error(field if field in self.fields else None, message)
        return cleaned

    def _empties(self, cleaned: dict[str, Any]) -> str:
        """ "half-pint=12,pint=4"; "" where no count was typed, which means as many as wanted."""
        told = []
        for name, size in self.empty_fields.items():
            count = (cleaned.get(name) or "").strip()
            if count and not (count.isascii() and count.isdecimal() and int(count) <= MOST_EMPTIES):
                text = _("Write a whole number from 0 to %(most)s, or leave it empty.")
                self.add_error(name, text % {"most": MOST_EMPTIES})
            elif count:
                told.append(f"{size}={int(count)}")
        return ",".join(told)

    @property
    def asked(self) -> dict[str, str]:
        """Only of a valid form: the kitchen and the wish as text, to ask for the same plan elsewhere."""
        return {name: str(self.cleaned_data[name]) for name in ("kitchen", *WISH_FIELDS) if self.cleaned_data.get(name)}

    @property
    def wish(self) -> PlanWish:
        """Only of a valid form."""
        if self._wish is None:
            raise ValueError("The form is not valid.")
        return self._wish

    @property
    def asked_kitchen(self) -> Kitchen:
        """Only of a valid form."""
        return self.kitchens[self.cleaned_data["kitchen"]]
