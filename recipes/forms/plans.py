"""Forms of reading: search, for whom a page is shown, a plan, a change, a price."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from fractions import Fraction
from typing import Any, cast

from crispy_forms.layout import HTML, Column, Layout, Row
from django import forms
from django.core.exceptions import ValidationError
from django.db.models.functions import Lower
from django.urls import reverse_lazy
from django.utils.translation import gettext_lazy as _

from club.core.fields import Fold
from club.core.forms import TokenForm, bare_helper
from club.core.money import MoneyField
from club.members.models import Kitchen, Units, User, default_kitchen, kitchen_words
from recipes.choices import CANNERS, CAPACITY_LABELS, JARS, LIQUIDS, METHODS, PACKS, STOVES, kind_label
from recipes.engine import choices_of, process_choices
from recipes.engine.changes import Act, Change, pickable_foods
from recipes.engine.quantities import JAR_SIZES, UNITS, Amount, AmountError, parse_amount
from recipes.engine.terms import Canner, Pack, TestedRecipe
from recipes.models import FACETS, IndexRow, Price, ProcessTable, ProcessTableQuerySet, Recipe, facet_counts, matching
from recipes.planning import (
    CAPACITIES,
    LONGEST_WORDS,
    MOST_EMPTIES,
    PLAN_FIELDS,
    PlanInput,
    PlanInputError,
    read_plan_input,
)
from recipes.search import LONGEST_SEARCH, mended

# For whom a page is shown: which kitchen's altitude, which units.


def set_choices(field: forms.Field, choices: list[tuple[Any, Any]]) -> None:
    cast(forms.ChoiceField, field).choices = choices


def kitchen_choices(kitchens: Mapping[int, Kitchen], default: Kitchen | None) -> list[tuple[Any, Any]]:
    """With "choose" before them where none is the person's default: else a browser takes the first by name."""
    blank = [] if default else [("", _("choose"))]
    return [*blank, *kitchen_words(kitchens.values()).items()]


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
        """The kitchen asked for, of a bound form; none where it is not one of them."""
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
    def units_label(self) -> str:
        return str(Units(self.chosen_units).label)


NAMES: dict[str, Callable[[str], str]] = {
    "produce": str,
    "kind": kind_label,
    "method": lambda word: str(METHODS.get(word, word)),
    "jar": lambda word: str(JARS.get(word, word)),
}


def search_field(label: Any) -> forms.CharField:
    return forms.CharField(
        label=label,
        required=False,
        max_length=LONGEST_SEARCH,
        widget=forms.TextInput(attrs={"type": "search"}),
        error_messages={"null_characters_not_allowed": _("This holds a character that cannot be searched for.")},
    )


def facet_field(label: Any) -> forms.ChoiceField:
    """A choice that asks anew at once where scripts run; the rest of how is in the template, on the form around it."""
    attrs = {"hx-get": reverse_lazy("recipes:list"), "hx-trigger": "change", "hx-include": "closest form"}
    return forms.ChoiceField(label=label, required=False, widget=forms.Select(attrs=attrs))


class SearchForm(forms.Form):
    """The recipe list's query: words, and one word of each facet with how many recipes it would leave."""

    q = search_field(_("Title, produce or ingredient"))
    produce = facet_field(_("Produce"))
    kind = facet_field(_("Kind"))
    method = facet_field(_("Method"))
    jar = facet_field(_("Jar"))

    def __init__(self, data: Any) -> None:
        super().__init__(data)
        self.helper = bare_helper()
        published, text = Recipe.objects.published(), self._text()
        self._rows = published.search(text).index_rows()
        # What was read instead, where nothing was found as it was typed; "" as a rule.
        self.mended = "" if self._rows or not text else mended(text, published.values_list("search_text", flat=True))
        if self.mended:
            self._rows = published.search(self.mended).index_rows()
        self._wanted = {facet: str(data.get(facet, "")) for facet in FACETS}
        for facet, counts in facet_counts(self._rows, self._wanted).items():
            set_choices(self.fields[facet], self._choices(facet, counts))
            self.fields[facet].error_messages["invalid_choice"] = _("No recipe has “%(value)s”.")

    def _text(self) -> str:
        text = str(self.data.get("q", ""))
        return text if len(text) <= LONGEST_SEARCH else ""

    def _choices(self, facet: str, counts: Mapping[str, int]) -> list[tuple[str, Any]]:
        """Every word of the facet, also those that would leave nothing: a shared address keeps what it asked for."""
        words = {word for row in self._rows for word in row.words[facet]}
        if self._wanted[facet] in self._known(facet):
            words.add(self._wanted[facet])
        named = sorted((NAMES[facet](word), word) for word in words)
        return [("", _("any")), *((word, f"{name} ({counts[word]})") for name, word in named)]

    def _known(self, facet: str) -> set[str]:
        return {"method": set(map(str, METHODS)), "jar": set(JARS)}.get(facet, set())

    @property
    def is_narrowed(self) -> bool:
        """Whether one of the folded choices was made."""
        return any(self._wanted[facet] for facet in ("kind", "method", "jar"))

    def found(self) -> list[IndexRow]:
        """The recipes asked for, in the order of the list; none when the query is wrong."""
        return matching(self._rows, self._wanted) if self.is_valid() else []


class TableSearchForm(OwnKitchenForm):
    """The process tables' query: words of the food, and the kitchen whose band is marked."""

    q = search_field(_("Food"))
    field_order = ("q", "kitchen")

    def __init__(self, data: Any, *, user: User) -> None:
        super().__init__(data, user=user)
        self._user = user

    def found(self) -> ProcessTableQuerySet:
        tables = ProcessTable.objects.visible_to(self._user)
        if "q" in self.errors:
            return tables.none()
        # "Asian pears" stands among the apples, not before them, also where a database sorts capitals first.
        return tables.search(self.cleaned_data["q"]).order_by(Lower("food"), "variant", "method")


# What a person asks a plan for: in which kitchen, how much, in which jars. Also used to start a batch.

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
CAPACITY_CHOICES = [("", _("as usual (7 quarts)")), *((size, CAPACITY_LABELS[size]) for size in CAPACITIES)]
# A template, so that it is put into the reader's language when it is shown.
EMPTIES_HELP = """{% load i18n %}<p class="form-text">{% translate "How many empty jars of each size there are. \
Left empty, there are as many as wanted of the one size." %}</p>"""


def text_field(label: Any, help_text: Any = "", **attrs: str) -> forms.CharField:
    return forms.CharField(
        label=label, help_text=help_text, required=False, max_length=40, widget=forms.TextInput(attrs=attrs)
    )


CodesOf = Callable[[Collection[Canner]], list[tuple[str, str]]]


def _no_codes(gauges: Collection[Canner]) -> list[tuple[str, str]]:
    return []


class PlanForm(KitchenForm):
    """Bound to the query of a plan. When valid: `asked_kitchen` (a Kitchen) and `plan_input`.

    The choices are what the recipe's tested rows allow; another known jar, pack or canner in the query is kept, and
    the engine says why it is refused.
    """

    jars = text_field(_("Jars wanted"), inputmode="numeric")
    pots = text_field(_("or pots to cook"), inputmode="numeric")
    fruit = text_field(_("or prepared fruit at hand"), _("With its unit, such as 4.5 kg or 10 cups."))
    jar = forms.CharField(label=_("Jar"), required=False, widget=forms.Select)
    pack = forms.CharField(label=_("Pack"), required=False, widget=forms.Select)
    canner = forms.CharField(label=_("Canner"), required=False, widget=forms.Select)
    canner_code = text_field(
        _("The canner's code"),
        help_text=_(
            "On its label: the club's, or your household's own. Its size, and what its gauge read at the last test, are"
            " taken from its card. Of two, both with a comma between."
        ),
    )
    reads_high = text_field(
        _("The dial gauge reads high by (psi)"),
        _("At its last test, such as 2 or 0.5; with a minus where it reads low. The setting is corrected by it."),
        inputmode="text",
    )
    food = forms.ChoiceField(
        label=_("Which food"),
        required=False,
        error_messages={"invalid_choice": _("This recipe is not for “%(value)s”. Choose one of the list.")},
    )
    liquid = forms.ChoiceField(
        label=_("Covered with"),
        required=False,
        error_messages={"invalid_choice": _("The source allows no “%(value)s” here. Choose one of the list.")},
    )
    instead = forms.CharField(required=False, max_length=LONGEST_WORDS, widget=forms.HiddenInput)
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

    def __init__(
        self, data: Any = None, *, user: User, recipe: TestedRecipe, codes: CodesOf = _no_codes, initial: Any = None
    ) -> None:
        """`codes` gives the codes and names of the canners with one of these gauges."""
        super().__init__(data, user=user, initial=initial)
        if data is not None and "kitchen" not in data and self.default is not None:
            # An address that names no kitchen means the person's own, as on the recipe's page.
            self.data = {**data.dict(), "kitchen": self.default.pk}
        self._recipe = recipe
        self._plan_input: PlanInput | None = None
        choices = process_choices(recipe.process)
        jars = choices.jars or (recipe.stated_yield.jar,)
        self._offer("jar", jars, JARS, JAR_SIZES)
        self._offer("pack", choices.packs, PACKS, tuple(Pack))
        steam = (Canner.STEAM,) if Canner.BOILING_WATER in choices.canners else ()
        self._offer("canner", (*choices.canners, *steam), CANNERS, tuple(Canner))
        self.empty_fields = self._ask_empties(jars)
        self.instead_fields = self._ask_choices(recipe)
        gauges = [canner for canner in choices.canners if canner is not Canner.BOILING_WATER]
        self.canner_codes = codes(gauges) if gauges else []
        gauge = []
        if Canner.DIAL_GAUGE in choices.canners or self.data.get("reads_high"):
            gauge = ["reads_high"]
        else:
            self.fields["reads_high"].widget = forms.HiddenInput()
        if gauges or self.data.get("canner_code"):
            self.fields["canner_code"].widget.attrs |= {"list": "canners", "autocapitalize": "characters"}
            gauge = [HTML('{% include "recipes/parts/canner_codes.html" %}'), "canner_code", *gauge]
        else:
            self.fields["canner_code"].widget = forms.HiddenInput()
        gauge = [Fold(_("Which canner, and its gauge"), *gauge)] if gauge else []
        self.helper.layout = Layout(
            "kitchen",
            Row(
                Column("jars", css_class="col-6 col-sm-4"),
                Column("pots", css_class="col-6 col-sm-4"),
                Column("fruit", css_class="col-sm-4"),
            ),
            Row(*(Column(name, css_class="col-sm-4") for name in ("jar", "pack", "canner"))),
            Row(*(Column(name, css_class="col-sm-4") for name in ("food", "liquid", *self.instead_fields))),
            "instead",
            *gauge,
            Fold(
                _("Empty jars at hand, stove and time"),
                HTML(EMPTIES_HELP),
                Row(*(Column(name, css_class="col-6 col-sm-3") for name in self.empty_fields)),
                Row(*(Column(name, css_class=f"{width} col-sm-4") for name, width in GEAR_FIELDS.items())),
            ),
        )

    def _ask_choices(self, recipe: TestedRecipe) -> tuple[str, ...]:
        """What the recipe leaves open: which food, what covers it, and a field for each thing that may be replaced."""
        told_apart = any(row.only_for or row.not_for for row in recipe.process)
        foods = [(name, name) for name in recipe.produce] if told_apart and len(recipe.produce) > 1 else []
        liquids = recipe.packing_liquids if recipe.packing_liquids and recipe.packing_liquids.seen.is_seen else None
        covers = [(name, LIQUIDS.get(name, name)) for name in liquids.names] if liquids else []
        usual = _("as usual (%(liquid)s)") % {"liquid": LIQUIDS.get(liquids.usual, liquids.usual)} if liquids else ""
        for name, offered, blank in (
            ("food", foods, _("choose")),
            ("liquid", covers, usual if liquids and liquids.usual else _("not chosen")),
        ):
            if offered or self.data.get(name):
                set_choices(self.fields[name], [("", blank), *offered])
            else:
                self.fields[name].widget = forms.HiddenInput()
        groups: dict[tuple[str, ...], list[str]] = {}
        for choice in choices_of(recipe):
            if choice.is_seen:
                groups.setdefault(choice.instead_of, []).append(choice.name)
        taken = {name.strip() for name in str(self.data.get("instead", "")).split(";")}
        for number, (items, names) in enumerate(groups.items(), start=1):
            self.fields[f"instead_{number}"] = forms.ChoiceField(
                label=_("In place of %(items)s") % {"items": ", ".join(items)},
                required=False,
                choices=[("", _("as the recipe has it")), *((name, name) for name in names)],
                initial=next((name for name in names if name in taken), ""),
            )
        return tuple(f"instead_{number}" for number in range(1, len(groups) + 1))

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
        has_default = name == "jar" or Canner.BOILING_WATER in allowed
        blank = _("as the recipe has it") if len(allowed) <= 1 or has_default else _("choose")
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
        if any(name in self.data for name in self.instead_fields):
            cleaned["instead"] = "; ".join(filter(None, (cleaned.get(name) for name in self.instead_fields)))
        try:
            self._plan_input = read_plan_input({name: cleaned.get(name) for name in PLAN_FIELDS})
        except PlanInputError as error:
            for field, message in error.problems.items():
                if field not in self.errors:
                    self.add_error(field if field in self.fields else None, message)
        return cleaned

    def _empties(self, cleaned: dict[str, Any]) -> str:
        """ "half-pint=12,pint=4"; "" where no count was typed, which means as many as wanted."""
        counts = []
        for name, size in self.empty_fields.items():
            count = (cleaned.get(name) or "").strip()
            if count and not (count.isascii() and count.isdecimal() and int(count) <= MOST_EMPTIES):
                text = _("Write a whole number from 0 to %(most)s, or leave it empty.")
                self.add_error(name, text % {"most": MOST_EMPTIES})
            elif count:
                counts.append(f"{size}={int(count)}")
        return ",".join(counts)

    @property
    def asked(self) -> dict[str, str]:
        """Only of a valid form: the kitchen and what is wanted as text, to ask for the same plan elsewhere."""
        names = ("kitchen", "canner_code", *PLAN_FIELDS)
        return {name: str(self.cleaned_data[name]) for name in names if self.cleaned_data.get(name)}

    @property
    def plan_input(self) -> PlanInput:
        """Only of a valid form."""
        if self._plan_input is None:
            raise ValueError("The form is not valid.")
        return self._plan_input

    @property
    def asked_kitchen(self) -> Kitchen:
        """Only of a valid form."""
        return self.kitchens[self.cleaned_data["kitchen"]]


# What somebody would like to change about a recipe: one change a line.

MOST_CHANGES = 20
LONGEST_CHANGE = 200


# What is done to a line; "set" is a new amount.
DONE = [
    ("", _("choose")),
    ("less", _("less of it")),
    ("more", _("more of it")),
    ("omit", _("left out")),
    ("set", _("another amount of it")),
    ("swap", _("something else in its place")),
    ("add", _("something put in that the recipe does not have")),
]
SAID_OF = [("", _("in all")), ("quart", _("in each quart")), ("pint", _("in each pint")), ("jar", _("in each jar"))]


class ChangesForm(forms.Form):
    """Bound to the query. When valid, `asked` are the changes in order: those in words, then what was picked."""

    change = forms.CharField(
        label=_("What would you change? One change a line."),
        required=False,
        max_length=MOST_CHANGES * (LONGEST_CHANGE + 2),
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    done = forms.ChoiceField(label=_("What is done"), required=False, choices=DONE)
    line = forms.ChoiceField(label=_("Ingredient"), required=False)
    thing = forms.CharField(label=_("What comes in"), required=False, max_length=40, widget=forms.Select)
    amount = text_field(_("How much"), inputmode="decimal")
    unit = forms.ChoiceField(label=_("Unit"), required=False)
    each = forms.ChoiceField(label=_("Said of"), required=False, choices=SAID_OF)
    vessel = forms.ChoiceField(label=_("Jar, pack, pot or canner"), required=False)

    def __init__(self, *args: Any, recipe: TestedRecipe, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        set_choices(self.fields["line"], [("", _("choose")), *((i.item, i.item) for i in recipe.ingredients)])
        units = [(unit.name, unit.many or _("pieces")) for unit in UNITS.values()]
        set_choices(self.fields["unit"], [("", _("choose")), *units])
        set_choices(self.fields["vessel"], [("", _("as the recipe has it")), *_vessels()])
        foods = [(group, [(name, name) for name in names]) for group, names in pickable_foods().items()]
        self.fields["thing"].widget.choices = [("", _("choose")), *foods]
        self.picked: list[Change] = []
        self.helper = bare_helper()
        self.helper.layout = Layout(
            "change",
            Fold(
                _("Or pick it from lists"),
                Row(*(Column(name, css_class="col-sm-4") for name in ("done", "line", "thing"))),
                Row(*(Column(name, css_class="col-4") for name in ("amount", "unit", "each"))),
                "vessel",
            ),
        )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        self.picked = [*self._picked_line(cleaned), *self._picked_vessel(cleaned)]
        if not self.errors and not self.picked and not _lines(cleaned.get("change", "")):
            self.add_error("change", _("Write at least one change, such as: less sugar. Or pick one from the lists."))
        return cleaned

    def _picked_line(self, cleaned: dict[str, Any]) -> list[Change]:
        done, line, thing = (cleaned.get(name, "") for name in ("done", "line", "thing"))
        if not done:
            if line or thing:
                self.add_error("done", _("Say what is done with it."))
            return []
        if not line and done != "add":
            self.add_error("line", _("Choose the ingredient."))
        if not thing and done in ("add", "swap"):
            self.add_error("thing", _("Choose what comes in."))
        amount = self._picked_amount(cleaned, is_needed=done == "set")
        if self.errors:
            return []
        jar = cleaned["each"] if amount else ""
        if done == "swap":
            return [Change(Act.SWAP, line, thing, other_amount=amount, per_jar=jar)]
        if done in ("less", "more"):
            return [Change(Act(done), line, other_amount=amount, word="by" if amount else "")]
        return [Change(Act(done), thing if done == "add" else line, amount=amount, per_jar=jar)]

    def _picked_amount(self, cleaned: dict[str, Any], *, is_needed: bool) -> Amount | None:
        text = " ".join(part for part in (cleaned.get("amount", ""), cleaned.get("unit", "")) if part)
        if not cleaned.get("amount"):
            if is_needed:
                self.add_error("amount", _("Say how much."))
            return None
        try:
            return parse_amount(text)
        except AmountError as error:
            self.add_error("amount", str(error))
            return None

    def _picked_vessel(self, cleaned: dict[str, Any]) -> list[Change]:
        act, _colon, word = str(cleaned.get("vessel") or "").partition(":")
        if not act:
            return []
        return [Change(Act.POT, factor=Fraction(word)) if act == Act.POT else Change(Act(act), word=word)]

    def clean_change(self) -> str:
        text = str(self.cleaned_data["change"])
        lines = _lines(text)
        if len(lines) > MOST_CHANGES:
            raise ValidationError(_("At most %(most)s changes at once.") % {"most": MOST_CHANGES}, code="too-many")
        if any(len(line) > LONGEST_CHANGE for line in lines):
            raise ValidationError(
                _("At most %(most)s letters for one change.") % {"most": LONGEST_CHANGE}, code="too-long"
            )
        return text

    @property
    def asked(self) -> list[str | Change]:
        """Only of a valid form."""
        return [*_lines(self.cleaned_data["change"]), *self.picked]


def _vessels() -> list[tuple[Any, Any]]:
    """Jars, packs, parts of a pot and canners, each as "act:word"."""
    canners = [(Canner.BOILING_WATER, CANNERS[Canner.BOILING_WATER]), ("pressure", _("pressure canner"))]
    return [
        (_("Jar"), [(f"{Act.JAR}:{size}", JARS[size]) for size in JAR_SIZES]),
        (_("Pack"), [(f"{Act.PACK}:{pack}", PACKS[pack]) for pack in (Pack.HOT, Pack.RAW)]),
        (_("Pot"), [(f"{Act.POT}:1/2", _("half a pot")), (f"{Act.POT}:2", _("a double pot"))]),
        (_("Canner"), [(f"{Act.CANNER}:{n}", label) for n, label in [*canners, ("steam", _("steam canner"))]]),
    ]


def _lines(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]


# Noting a price.


class PriceForm(TokenForm, forms.ModelForm):  # type: ignore[type-arg]
    price = MoneyField(label=_("Price of one package"))
    field_order = ("item", "package", "price", "token")

    class Meta:
        model = Price
        fields = ("item", "package")
        help_texts = {
            "item": _("As the shopping list has it, such as sugar or strawberries."),
            "package": _("What one holds: 4 lb, 1 l, 2 pouches, 12 each."),
        }
        widgets = {"item": forms.TextInput(attrs={"list": "known-things", "autocapitalize": "none"})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = bare_helper()

    def written(self) -> dict[str, Any]:
        """Of a valid form: what `price_note` takes."""
        data = dict(self.cleaned_data)
        return {"cents": data.pop("price"), **data}
