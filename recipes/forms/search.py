from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django import forms
from django.db.models.functions import Lower
from django.urls import reverse_lazy
from django.utils.translation import gettext_lazy as _

from club.members.models import User
from recipes.facets import FACETS, IndexRow, facet_counts, matching
from recipes.forms.viewing import OwnKitchenForm, bare_helper, set_choices
from recipes.models import ProcessTable, ProcessTableQuerySet, Recipe
from recipes.words import JARS, METHODS, kind_word

LONGEST_SEARCH = 100

NAMES: dict[str, Callable[[str], str]] = {
    "produce": str,
    "kind": kind_word,
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
        self._rows = Recipe.objects.published().search(self._text()).index_rows()
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
