"""Forms of the classes. What was typed stays; a service's refusal appears beside its field."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from datetime import date, time
from typing import Any

from crispy_forms.layout import HTML, Column, Hidden, Row
from django import forms
from django.db.models import Q
from django.utils.dateparse import parse_date
from django.utils.text import format_lazy
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.classes.models import (
    CAPTION_LENGTH,
    COMPANION_LENGTH,
    NEEDS_LENGTH,
    NOTE_LENGTH,
    PRICE_LENGTH,
    REASON_LENGTH,
    STATION_NAME_LENGTH,
    TITLE_LENGTH,
    ClassSession,
    SignUp,
    Station,
)
from club.classes.rules import MOST_DAYS, MOST_PLACES, SAFE, USUAL_CAPACITY
from club.core.clock import weekly
from club.core.fields import LineField, MomentField, PersonField
from club.core.forms import PhotoForm, TokenForm, form_helper
from club.core.sealing import Unreadable
from club.members.choices import Role, Skill
from club.members.models import Kitchen, User, kitchen_words
from recipes.choices import CANNERS, JARS, PACKS, STOVES
from recipes.engine.quantities import JAR_SIZES
from recipes.models import Revision, RevisionState
from recipes.planning import jar_counts_from

# A session or a series, its hours, its stations.

DIGITS = {"inputmode": "numeric"}
AS_RECIPE = _("as the recipe has it")
MOMENT = "%Y-%m-%dT%H:%M"
TEN, TWO = time(10, 0), time(14, 0)


def day_field(label: Any, **options: Any) -> forms.DateField:
    return forms.DateField(label=label, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"), **options)


def clock_field(label: Any) -> forms.TimeField:
    return forms.TimeField(label=label, widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"))


def moment_field(label: Any, help_text: Any) -> forms.DateTimeField:
    widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format=MOMENT)
    return MomentField(label=label, required=False, help_text=help_text, widget=widget)


def text_area(label: Any, rows: int = 3, help_text: Any = "") -> forms.CharField:
    return forms.CharField(
        label=label, required=False, max_length=4000, help_text=help_text, widget=forms.Textarea(attrs={"rows": rows})
    )


def teachers() -> Any:
    """Who may be asked to teach: instructors and organisers."""
    roles = Q(groups__name__in=[Role.INSTRUCTOR.value, Role.ORGANISER.value]) | Q(is_superuser=True)
    return User.objects.get_queryset().filter(roles, is_active=True).distinct().in_order()


class SessionForm(forms.Form):
    """What is written about a session. Bound to a session, only what may still change is asked."""

    title = LineField(label=_("Title"), max_length=TITLE_LENGTH)
    hall = forms.ModelChoiceField(label=_("Hall"), queryset=Kitchen.objects.none(), empty_label=None)
    instructors = forms.ModelMultipleChoiceField(
        label=_("Who teaches it"), queryset=User.objects.none(), widget=forms.CheckboxSelectMultiple
    )
    about = text_area(_("What it is about"))
    what_to_bring = text_area(_("What to bring"), help_text=_("An apron, a knife, three empty jars."))
    price_note = forms.CharField(label=_("Price"), max_length=PRICE_LENGTH, required=False)
    skill = forms.ChoiceField(
        label=_("Skill that it teaches"),
        choices=[("", _("none")), *Skill.choices],
        required=False,
        help_text=_("Whoever comes is noted as having learned it; some things are lent to those alone."),
    )
    minimum_people = forms.IntegerField(
        label=_("Fewest people to run"), min_value=1, initial=2, widget=forms.NumberInput(attrs=DIGITS)
    )
    signup_opens_at = moment_field(_("Sign-up opens"), _("Empty: as soon as it is published."))
    signup_closes_at = moment_field(_("Sign-up closes"), _("Empty: on the day before at 18:00."))

    def __init__(self, *args: Any, session: ClassSession | None = None, **kwargs: Any) -> None:
        if session is not None:
            kwargs["initial"] = {name: getattr(session, name) for name in self.base_fields if hasattr(session, name)}
            kwargs["initial"]["instructors"] = list(session.instructors.all())
        super().__init__(*args, **kwargs)
        fields: dict[str, Any] = self.fields
        fields["hall"].queryset = Kitchen.objects.filter(is_hall=True)
        fields["hall"].choices = list(kitchen_words(fields["hall"].queryset).items())
        fields["instructors"].queryset = teachers()
        if session is not None and session.is_published:
            for name in [name for name in self.fields if name not in SAFE]:
                del self.fields[name]
        self.helper = form_helper(*self.fields, submit=gettext("Save"))

    def changes(self) -> dict[str, Any]:
        """The keyword arguments of session_change; an emptied sign-up time stays as it was."""
        data = dict(self.cleaned_data)
        return {name: value for name, value in data.items() if not (name.startswith("signup_") and value is None)}


class NewSessionForm(SessionForm, TokenForm):
    """A session, or a series of them on weekly or listed days."""

    day = day_field(_("Day"))
    starts, ends = clock_field(_("From")), clock_field(_("To"))
    weeks = forms.IntegerField(
        label=_("How many weeks in a row"),
        min_value=1,
        max_value=MOST_DAYS,
        initial=1,
        widget=forms.NumberInput(attrs=DIGITS),
        help_text=_("1: a single session. The hours stay the same on the wall when the clocks change."),
    )
    more_days = text_area(
        _("Or other days of a series"), 2, _("One on each line, such as 2027-05-08. They come besides the first day.")
    )

    def __init__(self, *args: Any, by: User, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"starts": TEN, "ends": TWO, "instructors": [by]})
        super().__init__(*args, **kwargs)
        hours = Row(
            Column("day", css_class="col-12 col-sm-6"),
            Column("starts", css_class="col-6 col-sm-3"),
            Column("ends", css_class="col-6 col-sm-3"),
        )
        series = Row(Column("weeks", css_class="col-sm-6"), Column("more_days", css_class="col-sm-6"))
        rest = [name for name in SessionForm.base_fields if name not in ("title", "hall")]
        self.helper = form_helper("token", "title", "hall", hours, series, *rest, submit=gettext("Plan it"))

    def clean_more_days(self) -> list[date]:
        found, wrong = [], []
        for line in str(self.cleaned_data["more_days"]).split():
            day = _day_of(line)
            if day is None:
                wrong.append(line)
            else:
                found.append(day)
        if wrong:
            raise forms.ValidationError(_("Write each day as 2027-05-08. Not understood: %s") % ", ".join(wrong[:5]))
        return found

    def days(self) -> list[date]:
        """Every day that was asked for; one for a single session."""
        data = self.cleaned_data
        return sorted({*weekly(data["day"], data["weeks"]), *data["more_days"]})

    def written(self) -> dict[str, Any]:
        """The values of SessionFields."""
        return {name: self.cleaned_data[name] for name in (*SessionForm.base_fields, "starts", "ends")}


def _day_of(text: str) -> date | None:
    try:
        return parse_date(text)
    except ValueError:  # 2027-02-30
        return None


class MoveForm(forms.Form):
    day = day_field(_("Day"))
    starts, ends = clock_field(_("From")), clock_field(_("To"))

    def __init__(self, *args: Any, session: ClassSession, **kwargs: Any) -> None:
        kwargs["initial"] = {"day": session.day, "starts": session.starts, "ends": session.ends}
        super().__init__(*args, **kwargs)
        row = Row(*(Column(name, css_class="col-sm-4") for name in ("day", "starts", "ends")))
        self.helper = form_helper(row, submit=gettext("Move it"))


class CallOffForm(forms.Form):
    reason = forms.CharField(
        label=_("Why"), max_length=REASON_LENGTH, help_text=_("Everybody who signed up reads this.")
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("reason", submit=gettext("Call it off"))


def _choices(values: Iterable[tuple[Any, Any]]) -> list[tuple[str, Any]]:
    return [("", AS_RECIPE), *((str(value), words) for value, words in values)]


class Boxes(forms.Widget):
    """A small box for each part of one text: how many jars of a size, how many watts a burner has.

    The field reads and keeps the text as a whole, so that an address or a script may send it so; what no box can show
    is shown as it was typed.
    """

    template_name = "classes/parts/boxes.html"
    use_fieldset = True

    def __init__(self, labels: Mapping[str, Any], *, named: bool, unit: Any = "", most: int = 5) -> None:
        """`labels` by the part's key; `named` parts are written "key=value", others just one after another."""
        super().__init__()
        self.labels, self.named, self.unit, self.most = labels, named, unit, most

    def value_from_datadict(self, data: Mapping[str, Any], files: Any, name: str) -> str:
        if name in data:
            return str(data[name])
        typed = {key: str(data.get(f"{name}_{key}", "")).strip() for key in self.labels}
        return ", ".join(f"{key}={text}" if self.named else text for key, text in typed.items() if text)

    def value_omitted_from_data(self, data: Mapping[str, Any], files: Any, name: str) -> bool:
        return name not in data and not any(f"{name}_{key}" in data for key in self.labels)

    def id_for_label(self, id_: str, index: Any = None) -> str:
        return ""

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        context = super().get_context(name, value, attrs)
        parts = self._parts(str(value or ""))
        boxes = [(f"{name}_{key}", label, (parts or {}).get(key, "")) for key, label in self.labels.items()]
        context["widget"] |= {
            "boxes": boxes,
            "unit": self.unit,
            "most": self.most,
            "text": value if parts is None else "",
        }
        return context

    def _parts(self, text: str) -> dict[str, str] | None:
        """What stands in each box; None where some of the text has none."""
        written = [part.strip() for part in re.split("[,;]", text) if part.strip()]
        if not self.named:
            return dict(zip(self.labels, written, strict=False)) if len(written) <= len(self.labels) else None
        found = dict(part.partition("=")[::2] for part in written)
        return found if set(found) <= set(self.labels) and len(found) == len(written) else None


class StationForm(forms.Form):
    """A stove, a canner and the people at it."""

    revision = forms.ModelChoiceField(label=_("Recipe"), queryset=Revision.objects.none(), empty_label=_("choose"))
    name = LineField(
        label=_("Name"),
        max_length=STATION_NAME_LENGTH,
        required=False,
        help_text=_("Where it stands, such as: by the window."),
    )
    pots = forms.IntegerField(label=_("Pots"), min_value=1, initial=1, widget=forms.NumberInput(attrs=DIGITS))
    seats = forms.IntegerField(label=_("Seats"), min_value=1, initial=4, widget=forms.NumberInput(attrs=DIGITS))
    cooks = forms.IntegerField(
        label=_("People cooking at once"), min_value=1, initial=2, widget=forms.NumberInput(attrs=DIGITS)
    )
    jar_size = forms.ChoiceField(label=_("Jar"), required=False, choices=_choices((s, JARS[s]) for s in JAR_SIZES))
    pack = forms.ChoiceField(label=_("Pack"), required=False, choices=_choices(PACKS.items()))
    canner = forms.ChoiceField(label=_("Canner"), required=False, choices=_choices(CANNERS.items()))
    canners = forms.IntegerField(label=_("How many"), min_value=1, initial=1, widget=forms.NumberInput(attrs=DIGITS))
    capacity = forms.CharField(
        label=_("Jars in one canner"),
        required=False,
        max_length=120,
        widget=Boxes(JARS, named=True, most=2),
        help_text=_("How many of each size go in at once. All empty: a canner for seven quarts."),
    )
    stove = forms.ChoiceField(label=_("Stove"), choices=list(STOVES.items()))
    burners_w = forms.CharField(
        label=_("Burners, in watts"),
        max_length=80,
        initial="2000, 2000",
        widget=Boxes({str(n): format_lazy(_("Burner {n}"), n=n) for n in range(1, 7)}, named=False, unit=_("W")),
        help_text=_("From the plate of the stove; the boxes of burners that it has not stay empty."),
    )

    def __init__(self, *args: Any, station: Station | None = None, **kwargs: Any) -> None:
        """`station` fills the form in: the one to change, or one that the next is to be like."""
        if station is not None:
            kwargs["initial"] = _shown(station)
        else:
            kwargs["initial"] = {"capacity": _counts_text(USUAL_CAPACITY)}
        super().__init__(*args, **kwargs)
        self._offer_recipes(station)
        thirds = Row(*(Column(name, css_class="col-6 col-sm-4") for name in ("pots", "seats", "cooks")))
        canner = Row(Column("canner", css_class="col-8"), Column("canners", css_class="col-4"))
        jars = Row(Column("jar_size", css_class="col-sm-6"), Column("pack", css_class="col-sm-6"))
        stove = Row(Column("stove", css_class="col-sm-5"), Column("burners_w", css_class="col-sm-7"))
        self.helper = form_helper(
            "revision", "name", thirds, jars, canner, "capacity", stove, submit=gettext("Save the station")
        )

    def _offer_recipes(self, station: Station | None) -> None:
        """Those that are planned from now, and the one that the station has; only what a list needs is read."""
        chosen = Q(current_of__isnull=False) | Q(pk=station.revision_id if station else None)
        rows = Revision.objects.filter(chosen, state=RevisionState.PUBLISHED).select_related("recipe")
        field: Any = self.fields["revision"]
        field.queryset = rows.only("number", "state", "recipe__title").order_by("recipe__title", "number")
        field.label_from_instance = lambda revision: revision.recipe.title

    def clean_burners_w(self) -> tuple[int, ...]:
        parts = str(self.cleaned_data["burners_w"]).replace(";", " ").replace(",", " ").split()
        if not all(part.isascii() and part.isdecimal() and len(part) <= 6 for part in parts):
            raise forms.ValidationError(_("Write watts as whole numbers with a comma between, such as 2000, 1800."))
        return tuple(int(part) for part in parts)

    def clean_capacity(self) -> dict[str, int]:
        try:
            counts = jar_counts_from(self.cleaned_data["capacity"])
        except ValueError as error:
            raise forms.ValidationError(str(error)) from error
        return {size: count for size, count in counts.items() if count}


def _shown(station: Station) -> dict[str, Any]:
    shown = {name: getattr(station, name) for name in StationForm.base_fields}
    return {
        **shown,
        "burners_w": ", ".join(map(str, station.burners_w)),
        "capacity": _counts_text(station.capacity),
    }


def _counts_text(counts: dict[str, int]) -> str:
    return ", ".join(f"{size}={counts[size]}" for size in JAR_SIZES if size in counts)


# The day, and what is written afterwards.


class CallForm(forms.Form):
    """One press on the roll: how many came; empty takes it back."""

    came = forms.IntegerField(required=False, min_value=0, max_value=MOST_PLACES)


class WalkInForm(TokenForm):
    person = PersonField(label=_("Who is it?"), help_text=_("A member, by email or name."))
    companion = forms.CharField(
        label=_("Who comes along?"),
        max_length=COMPANION_LENGTH,
        required=False,
        help_text=_("A guest's first name, where they bring somebody; no more is kept. Empty: they come alone."),
    )

    def __init__(self, *args: Any, action: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("token", "person", "companion", submit=gettext("Add to the roll"), action=action)

    def written(self) -> dict[str, Any]:
        """The keyword arguments of walk_in_take."""
        return {**self.cleaned_data, "places": MOST_PLACES if self.cleaned_data["companion"] else 1}


class CompanionForm(forms.Form):
    name = LineField(max_length=COMPANION_LENGTH, required=False)


class LearnedForm(forms.Form):
    learned = forms.CharField(
        label=_("What was learned"),
        max_length=NOTE_LENGTH,
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=_("For everybody who came: what went well, what to do otherwise."),
    )

    def __init__(self, *args: Any, submit: str, cooking: str = "", **kwargs: Any) -> None:
        """`cooking`: the codes of batches on the stove, which closing asks about."""
        super().__init__(*args, **kwargs)
        asked: list[Any] = []
        if cooking:
            self.fields["still_cooking"] = forms.BooleanField(
                label=_("They go on without the class, and somebody stays with each of them."), required=False
            )
            listed = HTML('{% include "classes/parts/still_cooking.html" %}')
            asked = [listed, "still_cooking", Hidden("cooking", cooking)]
        self.helper = form_helper("learned", *asked, submit=submit)

    @property
    def agreed_to(self) -> str:
        return self.data.get("cooking", "") if self.cleaned_data.get("still_cooking") else ""


class OwnNoteForm(forms.Form):
    text = forms.CharField(
        label=_("Your own note"),
        max_length=NOTE_LENGTH,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("For yourself; the session's instructors read it too."),
    )

    def __init__(self, *args: Any, action: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("text", submit=gettext("Keep the note"), css="", action=action)


class SessionPhotoForm(TokenForm, PhotoForm):
    caption = forms.CharField(
        label=_("What it shows"),
        max_length=CAPTION_LENGTH,
        help_text=_("Said to who cannot see it."),
    )
    shown_agreed = forms.BooleanField(
        label=_("Everybody who can be made out in it agreed to that, or nobody can"),
        error_messages={"required": _("Ask the people in it first, or take another picture.")},
    )

    def __init__(self, *args: Any, action: str, **kwargs: Any) -> None:
        super().__init__(*args, action=action, **kwargs)
        self.helper = form_helper(
            "token", "photo", "caption", "shown_agreed", submit=gettext("Add the picture"), css="", action=action
        )


# Sign-ups.

LONGEST_KEY = 19  # digits, of a database's key
PLACES = [(1, _("I come alone")), (2, _("We come as two"))]


def companion_field(**options: Any) -> forms.CharField:
    options = {"label": _("Who comes along"), "max_length": COMPANION_LENGTH, **options}
    return forms.CharField(widget=forms.TextInput(attrs={"autocomplete": "off"}), **options)


def needs_field() -> forms.CharField:
    return forms.CharField(
        label=_("Allergies, and what you need to get in and around"),
        help_text=_(
            "Only the instructors of this session see this, and nobody who comes to teach it later unless you say so."
            " It is erased a week after it, or with your seat if you give that up."
        ),
        max_length=NEEDS_LENGTH,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3, "autocomplete": "off"}),
    )


class NamedField(forms.CharField):
    """The instructors whom the page names, by key: a form that lay open while others came does not tell these."""

    def __init__(self) -> None:
        super().__init__(required=False, widget=forms.HiddenInput)

    def clean(self, value: Any) -> list[int] | None:
        parts = [part for part in super().clean(value).split(",") if part]
        keys = [part for part in parts if part.isascii() and part.isdecimal() and len(part) <= LONGEST_KEY]
        return [int(key) for key in keys] if parts else None

    @staticmethod
    def shown(teachers: Iterable[User]) -> str:
        return ",".join(str(person.pk) for person in teachers)


class SignUpForm(TokenForm):
    places = forms.TypedChoiceField(
        label=_("How many"), choices=PLACES, coerce=int, initial=1, widget=forms.RadioSelect
    )
    companion = companion_field(
        required=False, help_text=_("Only when you come as two. Their first name is kept, and no more.")
    )
    needs = needs_field()
    named = NamedField()

    def __init__(self, *args: Any, action: str, teachers: Iterable[User] = (), submit: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["named"].initial = NamedField.shown(teachers)
        self.helper = form_helper(submit=submit or gettext("Sign up"), action=action)

    def written(self) -> dict[str, Any]:
        """The keyword arguments of signup_place."""
        return dict(self.cleaned_data)


class NotesForm(forms.Form):
    companion = companion_field()
    needs = needs_field()
    named = NamedField()

    def __init__(self, data: Any = None, *, signup: SignUp, teachers: Iterable[User]) -> None:
        needs = "" if isinstance(signup.needs, Unreadable) else signup.needs  # the page says so; a form cannot
        initial = {"companion": signup.companion, "needs": needs, "named": NamedField.shown(teachers)}
        super().__init__(data, initial=initial)
        if signup.places == 1:
            del self.fields["companion"]
        self.helper = form_helper(submit=gettext("Save"))
