"""The draft form: a head and two lists of rows that grow by a button, without a script."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, cast
from uuid import uuid4

from django import forms
from django.forms.formsets import BaseFormSet, formset_factory
from django.utils.translation import gettext as _

from recipes.engine.document import Problem
from recipes.engine.terms import Method
from recipes.forms.draft_document import document_from, has_other_bands, head_initial, place_of, row_initial
from recipes.forms.draft_fields import HeadForm, IngredientForm, ProcessForm

MOST_ROWS = 60
FIRST_ROWS = {"ingredients": 4, "process": 2}


if TYPE_CHECKING:
    Rows = BaseFormSet[forms.Form]
else:  # generic to the type checker only
    Rows = BaseFormSet


class RowSet(Rows):
    """Rows that may be left empty: an empty row is no row, also one that was filled before."""

    def initial_form_count(self) -> int:
        return 0

    def total_form_count(self) -> int:
        return super().total_form_count() if self.is_bound else len(self.initial or [])

    def kept(self) -> list[forms.Form]:
        return [form for form in self.forms if form.has_changed()]


def row_set(form: type[forms.Form]) -> type[RowSet]:
    made = formset_factory(form, formset=RowSet, extra=0, max_num=MOST_ROWS, absolute_max=MOST_ROWS)
    return cast(type[RowSet], made)


Ingredients = row_set(IngredientForm)
Processes = row_set(ProcessForm)


class TokenForm(forms.Form):
    token = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)


class DraftForm:
    """All parts as one form. `content` is the library document, once it is valid."""

    def __init__(self, data: Any = None, *, document: Mapping[str, Any] | None = None, statement: str = "") -> None:
        self.add_to = next((part for part in FIRST_ROWS if data and f"add_{part}" in data), "")
        if data is None or self.add_to:
            self._fill(*(_typed(data, self.add_to) if data else _printed(document, statement)))
        else:
            self.token = TokenForm(data)
            self.head = HeadForm(data, prefix="head")
            self.ingredients = Ingredients(data, prefix="ingredients")
            self.process = Processes(data, prefix="process")

    def _fill(self, head: dict[str, Any], rows: dict[str, list[dict[str, Any]]], token: str) -> None:
        """Not bound, hence without complaints: the first showing, or one more row for what is typed so far."""
        self.token = TokenForm(initial={"token": token} if token else None)
        self.head = HeadForm(prefix="head", initial=head)
        self.ingredients = Ingredients(initial=rows["ingredients"], prefix="ingredients")
        self.process = Processes(initial=rows["process"], prefix="process")

    def is_valid(self) -> bool:
        if not self.head.is_bound:  # nothing was sent, or one more row was asked for
            return False
        parts = [self.token.is_valid(), self.head.is_valid(), self.ingredients.is_valid(), self.process.is_valid()]
        if not parts[0]:
            self._renew_token()
        if all(parts):
            self._check_rows()
        return all(parts) and not self._has_errors()

    def _renew_token(self) -> None:
        self.token = TokenForm()
        self.head.add_error(
            None, _("The form had lost its mark, which keeps a draft from being made twice. Send it again.")
        )

    def _check_rows(self) -> None:
        if not self.ingredients.kept():
            self.head.add_error(None, _("A recipe has at least one ingredient."))
        if not self.process.kept() and self.head.cleaned_data["method"] != Method.FREEZER:
            self.head.add_error("method", _("Give the tested process below, at least one row."))

    def _has_errors(self) -> bool:
        return bool(self.head.errors) or any(form.errors for rows in (self.ingredients, self.process) for form in rows)

    @property
    def content(self) -> dict[str, Any]:
        ingredients = [form.cleaned_data for form in self.ingredients.kept()]
        return document_from(self.head.cleaned_data, ingredients, [form.cleaned_data for form in self.process.kept()])

    @property
    def statement(self) -> str:
        return str(self.head.cleaned_data["seen_statement"])

    def add_problems(self, problems: Iterable[Problem]) -> None:
        """Each problem of the engine beside the field that it is about."""
        for problem in problems:
            part, row, field = place_of(problem.field)
            form = self.head
            if part != "head":
                kept = getattr(self, part).kept()
                form = kept[row] if row < len(kept) else self.head
            if field == "minutes_1000" and form.cleaned_data.get("method") == Method.PRESSURE:
                field = "pressure_minutes"
            known = field if field in form.fields else None
            form.add_error(known, problem.message if known else f"{problem.field}: {problem.message}")

    def add_refusal(self, error: Any) -> None:
        """What a service refuses, on the whole form."""
        self.head.add_error(None, error.messages)


def _printed(document: Mapping[str, Any] | None, statement: str) -> tuple[dict[str, Any], dict[str, Any], str]:
    document = document or {}
    head = head_initial(document) | {"seen_statement": statement} if document else {}
    rows = {
        "ingredients": [dict(line) for line in document.get("ingredients", [])],
        "process": [row_initial(row) for row in document.get("process", [])],
    }
    for part, least in FIRST_ROWS.items():
        rows[part] += [{}] * max(1, least - len(rows[part]))
    return head, rows, ""


def _typed(data: Any, add_to: str) -> tuple[dict[str, Any], dict[str, Any], str]:
    head = {name: data.get(f"head-{name}", "") for name in HeadForm.base_fields}
    rows = {
        "ingredients": _typed_rows(data, "ingredients", IngredientForm),
        "process": _typed_rows(data, "process", ProcessForm),
    }
    if len(rows[add_to]) < MOST_ROWS:
        rows[add_to].append({})
    return head, rows, data.get("token", "")


def _typed_rows(data: Any, prefix: str, kind: type[forms.Form]) -> list[dict[str, Any]]:
    total = data.get(f"{prefix}-TOTAL_FORMS", "")
    count = min(int(total), MOST_ROWS) if total.isdecimal() and len(total) < 5 else FIRST_ROWS[prefix]
    return [{name: data.get(f"{prefix}-{i}-{name}", "") for name in kind.base_fields} for i in range(count)]


def can_edit(document: Mapping[str, Any]) -> bool:
    """Whether the form has a field for everything in the document."""
    return not any(has_other_bands(row) for row in document.get("process", []))
