"""The draft form: a head and two lists of rows that grow by a button, and the library document that it stands for."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.forms.formsets import BaseFormSet, formset_factory
from django.utils.translation import gettext, gettext_lazy
from django.utils.translation import gettext_lazy as _

from club.core.fields import LineField
from club.core.forms import TokenForm, bare_helper
from recipes.choices import JARS, METHODS, PACKS, ROLES, SEEN
from recipes.engine.document import Problem, recipe_to_document
from recipes.engine.quantities import JAR_SIZES, UNITS
from recipes.engine.terms import Method, Role, Seen
from recipes.library import recipe_in
from recipes.models import ClassedFood

if TYPE_CHECKING:
    Rows = BaseFormSet[forms.Form]
else:  # generic to the type checker only
    Rows = BaseFormSet

# The three parts of the draft form: the head, one ingredient, one process row. They hold text; the engine reads it.

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


YIELD = ("yield_low", "yield_high", "yield_seen")


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
    yield_low = text(_("One pot fills, at least"), most=20, help_text=_("Left empty where the source says nothing."))
    yield_high = text(_("at most"), most=20)
    yield_jar = choice(_("jars of"), [(size, JARS[size]) for size in JAR_SIZES], required=True)
    yield_seen = choice(_("This yield was"), [("", _("choose")), *((seen.value, SEEN[seen]) for seen in Seen)])
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

    def clean(self) -> dict[str, Any]:
        """A yield is given whole, or not at all."""
        cleaned = super().clean() or {}
        names = [name for name in YIELD if name in cleaned]
        if any(cleaned[name] for name in names) or len(names) < len(YIELD):
            for name in names:
                if not cleaned[name]:
                    self.add_error(name, self.fields[name].error_messages["required"])
        return cleaned


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
    method = choice(_("Method"), [BLANK, *((m.value, METHODS[m]) for m in Method if not m.is_cold)], required=True)
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


# Between the draft form's text and the library document: there, back, and which field a problem belongs to.

MINUTE_BANDS = {"minutes_1000": 1000, "minutes_3000": 3000, "minutes_6000": 6000, "minutes_above": "above"}
DIAL_BANDS = {"dial_2000": 2000, "dial_4000": 4000, "dial_6000": 6000, "dial_8000": 8000}
WEIGHTED_BANDS = {"weighted_1000": 1000, "weighted_above": "above"}
NOT_RECOMMENDED = "not-recommended"

# Fields of the form beside the document's own paths; the rest have the same name in both.
HEAD_PATHS = {
    "source_title": "source.title",
    "source_edition": "source.edition",
    "source_place": "source.place",
    "yield_low": "stated_yield.low",
    "yield_high": "stated_yield.high",
    "yield_jar": "stated_yield.jar",
    "yield_seen": "stated_yield.seen",
    "yield_note": "stated_yield.note",
    "pot_smallest": "pot_limits.smallest",
    "pot_largest": "pot_limits.largest",
    "pot_step": "pot_limits.step",
    "pot_source": "pot_limits.source",
    "boil_minutes": "hard_boil.minutes",
    "boil_last": "hard_boil.last_added_before",
    "boil_pectin": "hard_boil.pectin_added",
    "endpoint_f": "endpoint_f_above_boiling",
}
PLAIN_HEAD = ("title", "kind", "method", "pectin", "headspace_in", "amounts_seen", "note")
ROW_PATHS = {"source_title": "source.title", "source_edition": "source.edition", "source_place": "source.place"}
HEAD_FIELDS = {path: name for name, path in HEAD_PATHS.items()}
ROW_FIELDS = {path: name for name, path in ROW_PATHS.items()}


def document_from(
    head: Mapping[str, Any], ingredients: list[dict[str, Any]], rows: list[dict[str, Any]]
) -> dict[str, Any]:
    """The library document that the cleaned forms say; the engine decides whether it is a recipe."""
    document: dict[str, Any] = {name: head[name] for name in PLAIN_HEAD if head[name] or name == "pectin"}
    for name, path in HEAD_PATHS.items():
        if head[name]:
            _put(document, path, head[name])
    document["produce"] = [word.strip() for word in head["produce"].split(",") if word.strip()]
    if not head["yield_low"]:
        document["stated_yield"]["none_printed"] = True
    document["steps"] = _lines(head["steps"])
    document["ingredients"] = [{key: value for key, value in line.items() if value} for line in ingredients]
    if cautions := _lines(head["cautions"]):
        document["cautions"] = cautions
    if rows:
        document["process"] = [_row(row) for row in rows]
    if not Method(head["method"]).is_cold:
        document["process_seen"] = weakest(row["seen"] for row in rows)
    return document


# What the second edition of the format added, and this form has no fields for.
DETAILS = ("other_yields", "low_temperature", "kept_cold", "loads", "per_jar", "alternatives", "packing_liquids")
ROW_DETAILS = ("only_for", "not_for", "condition", "dispute")


def with_details(document: dict[str, Any], before: Mapping[str, Any]) -> dict[str, Any]:
    """The document with the figures that it had `before`: a step keeps its own for as long as its sentence stays."""
    steps = {step["text"]: step for step in before.get("steps", ()) if not isinstance(step, str)}
    document["steps"] = [steps.get(text, text) for text in document["steps"]]
    document |= {name: before[name] for name in DETAILS if name in before}
    uses = {
        (line["item"], line.get("prep", "")): line["use"] for line in before.get("ingredients", ()) if "use" in line
    }
    for line in document["ingredients"]:
        if use := uses.get((line["item"], line.get("prep", ""))):
            line["use"] = use
    rows = {_row_key(row): row for row in before.get("process", ())}
    for row in document.get("process", ()):
        old = rows.get(_row_key(row), {})
        row |= {name: old[name] for name in ROW_DETAILS if name in old}
    return document


def _row_key(row: Mapping[str, Any]) -> tuple[Any, ...]:
    return tuple(str(row.get(name)) for name in ("method", "pack", "jar", "minutes", "dial_psi", "weighted_psi"))


def weakest(marks: Any) -> str:
    """The recipe's process was seen as often as its least seen row."""
    return Seen.ONCE.value if Seen.ONCE.value in list(marks) else Seen.TWICE.value


def _put(document: dict[str, Any], path: str, value: Any) -> None:
    *parents, key = path.split(".")
    for parent in parents:
        document = document.setdefault(parent, {})
    document[key] = value


def _lines(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]


def _row(cleaned: Mapping[str, Any]) -> dict[str, Any]:
    row: dict[str, Any] = {name: cleaned[name] for name in ("method", "pack", "jar", "seen")}
    for name in ("headspace_in", "note"):
        if cleaned[name]:
            row[name] = cleaned[name]
    for name, path in ROW_PATHS.items():
        if cleaned[name]:
            _put(row, path, cleaned[name])
    if bands := _bands(cleaned, MINUTE_BANDS):
        row["minutes"] = bands
    if cleaned["pressure_minutes"]:
        row["minutes"] = cleaned["pressure_minutes"]
    if dial := _bands(cleaned, DIAL_BANDS):
        row["dial_psi"] = dial
    weighted = _bands(cleaned, WEIGHTED_BANDS)
    if cleaned["weighted_not_above"]:
        weighted.append(["above", NOT_RECOMMENDED])
    if weighted:
        row["weighted_psi"] = weighted
    return row


def _bands(cleaned: Mapping[str, Any], fields: Mapping[str, Any]) -> list[list[Any]]:
    return [[upper, cleaned[name]] for name, upper in fields.items() if cleaned[name]]


def head_initial(document: Mapping[str, Any]) -> dict[str, Any]:
    """What the head form starts with. Figures that nobody saw in print start unsaid, so that the author must say."""
    initial = {name: document.get(name, "") for name in PLAIN_HEAD}
    initial |= {name: _get(document, path) for name, path in HEAD_PATHS.items()}
    initial["produce"] = ", ".join(document.get("produce", ()))
    initial["steps"] = "\n".join(step if isinstance(step, str) else step["text"] for step in document.get("steps", ()))
    initial["cautions"] = "\n".join(document.get("cautions", ()))
    initial["amounts_seen"] = _seen_or_unsaid(document.get("amounts_seen", ""))
    return initial


def row_initial(row: Mapping[str, Any]) -> dict[str, Any]:
    initial = {name: row.get(name, "") for name in ("method", "pack", "jar", "headspace_in", "note")}
    initial |= {name: _get(row, path) for name, path in ROW_PATHS.items()}
    minutes = row.get("minutes")
    if isinstance(minutes, list):
        initial |= _band_initial(minutes, MINUTE_BANDS)
    else:
        initial["pressure_minutes"] = minutes
    initial |= _band_initial(row.get("dial_psi", []), DIAL_BANDS)
    initial |= _band_initial(row.get("weighted_psi", []), WEIGHTED_BANDS)
    if initial.get("weighted_above") == NOT_RECOMMENDED:
        initial |= {"weighted_above": None, "weighted_not_above": True}
    initial["seen"] = _seen_or_unsaid(row.get("seen", ""))
    return initial


def has_other_bands(row: Mapping[str, Any]) -> bool:
    """Whether a row has bands that the form has no fields for; then it must not be edited here and lose them."""
    minutes = row.get("minutes")
    pairs: list[tuple[Any, Mapping[str, Any]]] = [
        (minutes if isinstance(minutes, list) else [], MINUTE_BANDS),
        (row.get("dial_psi", []), DIAL_BANDS),
        (row.get("weighted_psi", []), WEIGHTED_BANDS),
    ]
    return any(upper not in fields.values() for bands, fields in pairs for upper, _figure in bands)


def _band_initial(bands: list[list[Any]], fields: Mapping[str, Any]) -> dict[str, Any]:
    by_upper = {upper: name for name, upper in fields.items()}
    return {by_upper[upper]: figure for upper, figure in bands if upper in by_upper}


def _get(document: Mapping[str, Any], path: str) -> Any:
    value: Any = document
    for key in path.split("."):
        value = value.get(key, "") if isinstance(value, Mapping) else ""
    return value


def _seen_or_unsaid(seen: str) -> str:
    return seen if seen in (Seen.TWICE.value, Seen.ONCE.value) else ""


# Paths that are about several fields, by the first of them.
HEAD_GROUPS = {"pot_limits": "pot_smallest", "hard_boil": "boil_minutes", "stated_yield": "yield_low"}
ROW_GROUPS = {"minutes": "minutes_1000", "dial_psi": "dial_2000", "weighted_psi": "weighted_1000"}


def place_of(path: str) -> tuple[str, int, str]:
    """(part, row, field) of a problem's path; the part is "head", "ingredients" or "process"."""
    if match := re.fullmatch(r"(ingredients|process)\[([0-9]+)\](?:\.(.+))?", path):
        return match[1], int(match[2]), _row_field(match[3] or "")
    plain = re.sub(r"\[[0-9]+\]", "", path)
    return "head", 0, HEAD_FIELDS.get(plain) or HEAD_GROUPS.get(plain, plain)


def _row_field(path: str) -> str:
    plain = re.sub(r"\[[0-9]+\]", "", path)
    return ROW_FIELDS.get(plain) or ROW_GROUPS.get(plain, plain)


# The draft form: a head and two lists of rows that grow by a button, without a script.

MOST_ROWS = 60
FIRST_ROWS = {"ingredients": 4, "process": 2}


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


class DraftForm:
    """All parts as one form. `content` is the library document, once it is valid."""

    def __init__(
        self,
        data: Any = None,
        *,
        document: Mapping[str, Any] | None = None,
        statement: str = "",
        is_own: bool = False,
    ) -> None:
        self._document = document or {}
        self.add_to = next((part for part in FIRST_ROWS if data and f"add_{part}" in data), "")
        if data is None or self.add_to:
            self._fill(*(_typed(data, self.add_to) if data else _printed(document, statement, is_own)))
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
            None, gettext("The form had lost its mark, which keeps a draft from being made twice. Send it again.")
        )

    def _check_rows(self) -> None:
        if not self.ingredients.kept():
            self.head.add_error(None, gettext("A recipe has at least one ingredient."))
        if not self.process.kept() and not Method(self.head.cleaned_data["method"]).is_cold:
            self.head.add_error("method", gettext("Give the tested process below, at least one row."))

    def _has_errors(self) -> bool:
        return bool(self.head.errors) or any(form.errors for rows in (self.ingredients, self.process) for form in rows)

    @property
    def content(self) -> dict[str, Any]:
        ingredients = [form.cleaned_data for form in self.ingredients.kept()]
        rows = [form.cleaned_data for form in self.process.kept()]
        return with_details(document_from(self.head.cleaned_data, ingredients, rows), self._document)

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


def _printed(
    document: Mapping[str, Any] | None, statement: str, is_own: bool
) -> tuple[dict[str, Any], dict[str, Any], str]:
    """What a form begins with. What somebody else saw in print its new author has to say anew."""
    document = document or {}
    head = head_initial(document) | {"seen_statement": statement} if document else {}
    rows = {
        "ingredients": [dict(line) for line in document.get("ingredients", [])],
        "process": [row_initial(row) for row in document.get("process", [])],
    }
    if document and not is_own:
        head |= dict.fromkeys(("amounts_seen", "yield_seen"), "")
        rows["process"] = [{**row, "seen": ""} for row in rows["process"]]
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
    return not document.get("by_jar") and not any(has_other_bands(row) for row in document.get("process", []))


LONGEST_TEXT = 100_000  # letters of one recipe in the library's format


class LibraryTextForm(TokenForm):
    """One recipe in the library's format, pasted or as a file: all that the form of a draft has no fields for."""

    text = forms.CharField(
        label=_("The recipe, in the library's format"),
        required=False,
        max_length=LONGEST_TEXT,
        strip=False,
        widget=forms.Textarea(attrs={"rows": 18, "spellcheck": "false", "class": "font-monospace"}),
    )
    file = forms.FileField(label=_("Or a file of it"), required=False, help_text=_("Text that ends in .toml."))
    seen_statement = forms.CharField(
        label=_("What you read, and where"),
        help_text=_("Which publication and page you had before you, for the amounts and for the process."),
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = bare_helper()

    def clean(self) -> dict[str, Any]:
        """`content` is the library document; what is wrong stands beside the text, or beside the file."""
        cleaned = super().clean() or {}
        text, file = cleaned.get("text", ""), cleaned.get("file")
        where = "file" if file else "text"
        if self.errors:
            return cleaned
        if file and file.size > LONGEST_TEXT:
            self.add_error("file", gettext("That is too long for one recipe."))
            return cleaned
        if file:
            try:
                text = file.read().decode("utf-8-sig")
            except UnicodeDecodeError:
                self.add_error("file", gettext("This is not UTF-8 text. Save it as UTF-8."))
                return cleaned
        if not text.strip():
            self.add_error("text", gettext("Paste the recipe here, or choose a file."))
            return cleaned
        recipe, problems = recipe_in(text)
        if recipe is None:
            self.add_error(where, problems)
        else:
            cleaned["content"] = recipe_to_document(recipe)
        return cleaned

    def add_problems(self, problems: Iterable[Problem]) -> None:
        """What the acid list refuses, by field."""
        self.add_error("text", [f"{problem.field}: {problem.message}" for problem in problems])

    def add_refusal(self, error: Any) -> None:
        self.add_error(None, error.messages)


LONGEST_REASON = 1000


class ReasonForm(forms.Form):
    """A note to the author, or the reason of a withdrawal."""

    reason = forms.CharField(max_length=LONGEST_REASON, widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args: Any, label: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reason"].label = label
        self.helper = bare_helper()


class AcidForm(forms.Form):
    """The reviewer's word on an acid that no tested recipe here has."""

    acid_seen = forms.CharField(
        label=gettext_lazy("Where the source prints this acid for this food, and how it was tested"),
        help_text=gettext_lazy(
            "Publication, page and the amounts. Without it, what only a tested recipe may have stays out."
        ),
        max_length=LONGEST_REASON,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = bare_helper()


class PublishForm(AcidForm):
    """The second look: what the first one saw and said comes along, and a yes to what cannot be taken back."""

    seen_digest = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    confirmed = forms.BooleanField(
        label=gettext_lazy("I compared every figure with the source, and have read what cannot be taken back."),
        required=False,
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["acid_seen"].widget = forms.HiddenInput()  # it was said at the first look, and is read back here


class FoodForm(forms.Form):
    """What a reviewer found words to be that the acid list does not know."""

    words = forms.ChoiceField(label=gettext_lazy("Words"))
    kind = forms.ChoiceField(
        label=gettext_lazy("Class"), choices=[("", gettext_lazy("choose")), *ClassedFood.Kind.choices]
    )
    ph = forms.CharField(
        label=gettext_lazy("Highest printed pH"),
        help_text=gettext_lazy("For a fruit, such as 3.9."),
        max_length=10,
        required=False,
    )
    source = forms.CharField(
        label=gettext_lazy("Where it is printed"), max_length=LONGEST_REASON, widget=forms.Textarea(attrs={"rows": 2})
    )

    prefix = "food"

    def __init__(self, *args: Any, words: Iterable[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["words"].choices = [(each, each) for each in dict.fromkeys(words)]  # type: ignore[attr-defined]
        self.helper = bare_helper()


class WithdrawForm(ReasonForm):
    """Which matter it is, why, and a yes to what it calls back.

    `calls_back` says that in words; what was said comes back with the yes. Neither matter is chosen beforehand. One
    that `is_withdrawn` already, for editing, can only become a matter of safety.
    """

    SAFETY, EDITING = "safety", "editing"

    matter = forms.ChoiceField(
        label=gettext_lazy("Is this a matter of safety, or of editing?"),
        widget=forms.RadioSelect,
        error_messages={"required": gettext_lazy("Choose one. When in doubt it is a matter of safety.")},
    )
    calls_back = forms.CharField(widget=forms.HiddenInput, required=False)
    confirmed = forms.BooleanField(
        label=gettext_lazy("I have read what my choice does, and that it is for good."),
        error_messages={"required": gettext_lazy("Say that you have read what this does, and tick it.")},
    )

    field_order = ("matter", "reason", "calls_back", "confirmed")

    def __init__(self, *args: Any, calls_back: str, is_withdrawn: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, label=gettext("Why it is withdrawn"), **kwargs)
        self.calls_back_now = calls_back
        self.fields["calls_back"].initial = calls_back
        choices = [(self.SAFETY, _safety_words(calls_back)), (self.EDITING, _editing_words(calls_back))]
        self.fields["matter"].choices = choices[: 1 if is_withdrawn else 2]  # type: ignore[attr-defined]

    @property
    def for_editing(self) -> bool:
        return bool(self.cleaned_data["matter"] == self.EDITING)

    def clean_confirmed(self) -> bool:
        """Jars may have been filled since the page was opened: what is called back now was not agreed to."""
        if self.cleaned_data.get("matter") == self.SAFETY and self.cleaned_data["calls_back"] != self.calls_back_now:
            # Asked for anew, with what holds now and without the tick.
            kept = {key: self.data[key] for key in self.data if key != "confirmed"}
            self.data = {**kept, "calls_back": self.calls_back_now}
            text = gettext(
                "Jars came or went since you opened this page: look again at what is called back, and tick it."
            )
            raise forms.ValidationError(text)
        return True


def _safety_words(calls_back: str) -> str:
    if not calls_back:
        return gettext(
            "Safety: what is made from it may make somebody ill. No jar comes from it, so none is called back."
        )
    text = gettext("Safety: what is made from it may make somebody ill. This calls back %(what)s.")
    return text % {"what": calls_back}


def _editing_words(calls_back: str) -> str:
    if not calls_back:
        return gettext("Editing: only the text is at fault, or there is a better one. Nothing new is planned from it.")
    text = gettext(
        "Editing: only the text is at fault, or there is a better one. Nothing new is planned from it; %(what)s stay "
        "as they are, to be eaten and given."
    )
    return text % {"what": calls_back}
