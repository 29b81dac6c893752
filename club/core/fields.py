"""Fields and parts of a form that several rooms share; the field of a model that holds a name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from crispy_forms.layout import Div
from crispy_forms.utils import TEMPLATE_PACK
from django import forms
from django.contrib.auth import get_user_model
from django.db import models
from django.db.backends.base.base import BaseDatabaseWrapper
from django.template.loader import render_to_string
from django.urls import reverse_lazy
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext_lazy as _

from club.core.clock import Doubled, WallTimeDoubled, WallTimeError, WallTimeSkipped, in_utc, moment_of
from club.core.text import has_unseen, seen

if TYPE_CHECKING:
    from club.members.models import User

    _TextColumn = models.CharField[str, str]
else:
    _TextColumn = models.CharField

FIRST_YEAR, LAST_YEAR = 1900, 2199


class LineField(forms.CharField):
    """One line of what a reader sees: see `club.core.text.seen`. What held more is shown once more without it."""

    default_error_messages = {
        "unseen": _("It held characters that no screen shows. They are out now: look at it, and send it once more.")
    }

    def to_python(self, value: Any) -> str:
        return seen(super().to_python(value) or "")

    def clean(self, value: Any) -> str:
        line: str = super().clean(value)
        if has_unseen(str(value or "")):
            raise forms.ValidationError(self.error_messages["unseen"], code="unseen")
        return line

    def prepare_value(self, value: Any) -> Any:
        return seen(value) if isinstance(value, str) else value


class NameField(_TextColumn):
    """The name or title of something: one line of what a reader sees, whoever writes it and however."""

    def deconstruct(self) -> tuple[str, str, Any, Any]:
        """To a migration the column is one of text."""
        name, _path, args, kwargs = super().deconstruct()
        return name, "django.db.models.CharField", args, kwargs

    def pre_save(self, model_instance: models.Model, add: bool) -> Any:
        kept = _seen_if_text(super().pre_save(model_instance, add))
        setattr(model_instance, self.attname, kept)
        return kept

    def get_db_prep_save(self, value: Any, connection: BaseDatabaseWrapper) -> Any:
        return super().get_db_prep_save(_seen_if_text(value), connection)

    def formfield(self, **kwargs: Any) -> Any:
        return super().formfield(**{"form_class": LineField, **kwargs})


def _seen_if_text(value: Any) -> Any:
    return seen(value) if isinstance(value, str) else value


class MomentField(forms.DateTimeField):
    """As Django's; but on the last day of the year 9999, or the first of all, UTC may have no date left to give."""

    default_error_messages = {"year": _("Check the year.")}

    def to_python(self, value: Any) -> datetime | None:
        moment: datetime | None = super().to_python(value)
        if moment is not None and not FIRST_YEAR <= moment.year <= LAST_YEAR:
            raise forms.ValidationError(self.error_messages["year"], code="year")
        return moment


class ClockInput(forms.Widget):
    """A date-and-time box with a button for "now"; once a doubled hour was typed, which of the two it was."""

    template_name = "core/clock_input.html"

    class Media:
        js = ("club/clock.js",)

    def value_from_datadict(self, data: Mapping[str, Any], files: Any, name: str) -> Any:
        return (data.get(name) or "", data.get(f"{name}_which") or "")

    def value_omitted_from_data(self, data: Mapping[str, Any], files: Any, name: str) -> bool:
        return name not in data

    def id_for_label(self, id_: str, index: Any = None) -> str:
        return id_

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        context = super().get_context(name, None, attrs)
        text, which = value if isinstance(value, tuple) else (_typed(value), "")
        wall = timezone.localtime().replace(microsecond=0)
        now = {"wall": wall.replace(tzinfo=None).isoformat(), "at": str(int(wall.timestamp()) * 1000)}
        context["widget"] |= {"value": text, "which": which, "is_doubled": _is_doubled(text), "now": now}
        return context


class ClockField(forms.Field):
    """A moment, in UTC; typed in the zone that is active. Empty gives None.

    A time that the spring change left out is refused and explained. One that came twice in autumn is asked about.
    """

    widget = ClockInput
    default_error_messages = {
        "invalid": _("Give a date and a time, such as 2026-09-14 18:30."),
        "left_out": _(
            "There was no %(time)s on that day: the clocks were put forward over it. Give the time the clock showed."
        ),
        "doubled": _("%(time)s came twice that night, as the clocks were put back. Say below which one it was."),
    }

    def to_python(self, value: Any) -> datetime | None:
        text, which = value if isinstance(value, tuple) else (value or "", "")
        if not str(text).strip():
            return None
        wall = text if isinstance(text, datetime) else _parsed(str(text))
        if wall is None:
            raise forms.ValidationError(self.error_messages["invalid"], code="invalid")
        if timezone.is_aware(wall):
            return in_utc(wall)
        params = {"time": f"{wall:%H:%M}"}
        try:
            return _moment(wall, which)
        except WallTimeSkipped:
            raise forms.ValidationError(self.error_messages["left_out"], code="left_out", params=params) from None
        except WallTimeDoubled:
            raise forms.ValidationError(self.error_messages["doubled"], code="doubled", params=params) from None

    def has_changed(self, initial: Any, data: Any) -> bool:
        return bool(data and data[0])


def _typed(value: Any) -> str:
    if isinstance(value, datetime):
        value = timezone.localtime(value) if timezone.is_aware(value) else value
        return f"{value:%Y-%m-%dT%H:%M}"
    return str(value or "")


def _parsed(text: str) -> datetime | None:
    """`2026-09-14T18:30`, or with a space; None when it is no date with a time in living memory."""
    if ":" not in text:
        return None
    try:
        wall = parse_datetime(text.strip().replace(" ", "T", 1))
    except ValueError:
        return None
    return wall if wall is not None and 1900 < wall.year < 2200 else None


def _moment(wall: datetime, which: str = "") -> datetime:
    """What the clock in the active zone shows then, in UTC; `which` of the two where it shows it twice."""
    doubled = Doubled(which) if which in (Doubled.FIRST, Doubled.SECOND) else Doubled.REFUSE
    return moment_of(wall.date(), wall.time(), timezone.get_current_timezone(), doubled=doubled)


def _is_doubled(text: str) -> bool:
    wall = _parsed(text)
    if wall is None or timezone.is_aware(wall):
        return False
    try:
        _moment(wall)
    except WallTimeError as error:
        return isinstance(error, WallTimeDoubled)
    return False


def token_field() -> forms.UUIDField:
    """Drawn with the form: the same form sent twice is one act."""
    return forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)


def day_field(label: Any, **options: Any) -> forms.DateField:
    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    return forms.DateField(label=label, widget=widget, **options)


def count_field(label: Any, *, least: int = 1, **more: Any) -> forms.IntegerField:
    return forms.IntegerField(
        label=label, min_value=least, max_value=9_999, widget=forms.NumberInput(attrs={"inputmode": "numeric"}), **more
    )


MOST_NAMED = 12  # people to choose from; with more than these somebody types a little more


class PersonInput(forms.TextInput):
    """A box for a name; beneath it, once what was typed fits several, those to choose from.

    A choice counts only for the words that it was offered for: who types something else is asked anew.
    """

    template_name = "core/person_input.html"
    candidates: Sequence[User] = ()

    def value_from_datadict(self, data: Mapping[str, Any], files: Any, name: str) -> Any:
        typed, chosen = super().value_from_datadict(data, files, name), data.get(f"{name}_which")
        return chosen if chosen and typed == data.get(f"{name}_asked") else typed

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        context = super().get_context(name, value, attrs)
        context["widget"]["candidates"] = self.candidates
        return context


class PersonField(forms.CharField):
    """A member, by email or by any part of the name that fits one of them alone. Gives the person.

    What fits several is asked about, with and without scripts. With scripts, members who are called so are offered
    while it is typed: a page carries no list of them all.
    """

    default_error_messages = {
        "nobody": _("Nobody of the club is called so. Give another part of the name, or the email."),
        "several": _("More than one is called so: choose below whom you mean."),
        "many": _("Many are called so. Give more of the name, or the email."),
    }

    def __init__(self, **options: Any) -> None:
        found = {"hx-get": reverse_lazy("members:find"), "hx-target": "#people", "hx-trigger": "input delay:250ms"}
        widget = PersonInput(attrs={"list": "people", "autocomplete": "off", **found})
        super().__init__(max_length=254, widget=widget, **options)

    def prepare_value(self, value: Any) -> Any:
        return value.email if isinstance(value, get_user_model()) else value

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        found = people_named(text)
        if len(found) == 1:
            return found[0]
        code = "nobody" if not found else "several" if len(found) <= MOST_NAMED else "many"
        if code == "several" and isinstance(self.widget, PersonInput):
            self.widget.candidates = found
        raise forms.ValidationError(self.error_messages[code], code=code)


def people_named(text: str) -> list[User]:
    """Whom the words may mean, at most MOST_NAMED + 1, those alone that they fit best.

    An email before a whole name, that before a whole word of it, that before any part of two letters or more.
    """
    wanted = text.casefold()
    people = get_user_model().objects.get_queryset()
    if exact := list(people.filter(email__iexact=text, is_active=True)[:1]):
        return exact
    if same := list(people.filter(name__iexact=text, is_active=True).in_order()[: MOST_NAMED + 1]):
        return same
    found = list(people.called(text).in_order()[: MOST_NAMED + 1]) if len(text) > 1 else []
    return [one for one in found if wanted in one.name.casefold().split()] or found


class Fold(Div):  # type: ignore[misc]  # the layouts carry no types
    """A part of a form that is rarely filled in, folded away under its name; it works without scripts.

    `Fold("Smaller jars too", "jars_pint", ...)` stands open when one was filled in or came back wrong.
    """

    template = "parts/fold.html"

    def __init__(self, summary: Any, *fields: Any) -> None:
        super().__init__(*fields)
        self.summary = summary

    def render(self, form: Any, context: Any, template_pack: Any = TEMPLATE_PACK, **kwargs: Any) -> str:
        inside = self.get_rendered_fields(form, context, template_pack, **kwargs)
        return render_to_string(
            self.template, {"summary": self.summary, "inside": inside, "is_open": self._is_needed(form)}
        )

    def _is_needed(self, form: Any) -> bool:
        names = [pointer.name for pointer in self.get_field_names()]
        return any(
            form[name].errors or (form.is_bound and form.data.get(name)) for name in names if name in form.fields
        )
