"""The form of how a person wants to be reached. What was typed stays; a refusal appears beside its field."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from crispy_forms.helper import FormHelper
from crispy_forms.layout import HTML, Column, Layout, Row, Submit
from django import forms
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.dates import WEEKDAYS
from django.utils.html import format_html
from django.utils.text import capfirst
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.core.clock import zone_names
from club.reminders.models import PUSHED, NotificationSettings
from club.reminders.rules import AnyRule
from club.reminders.rules.members import WeeklyDigest

CLOCK = {"type": "time"}
HOURS = [(hour, f"{hour:02}:00") for hour in range(24)]


class NotificationSettingsForm(forms.Form):
    zone_name = forms.ChoiceField(label=_("Time zone"), required=False)
    quiet_from = forms.TimeField(label=_("No mail from"), widget=forms.TimeInput(attrs=CLOCK, format="%H:%M"))
    quiet_until = forms.TimeField(label=_("until"), widget=forms.TimeInput(attrs=CLOCK, format="%H:%M"))
    digest_weekday = forms.TypedChoiceField(
        label=_("What can wait, together once a week"),
        choices=[("", _("No, each one as it comes")), *((str(day), name) for day, name in WEEKDAYS.items())],
        coerce=int,
        empty_value=None,
        required=False,
    )
    digest_hour = forms.TypedChoiceField(label=_("at"), choices=HOURS, coerce=int)
    mailed = forms.MultipleChoiceField(
        label=_("By mail, and on the site"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=_("What is not ticked is shown on the site alone."),
    )

    pushed = forms.MultipleChoiceField(
        label=_("On your phone as well, at once"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=_("On each browser below for which you turned it on. The mail comes all the same."),
    )

    def __init__(self, *args: Any, preferences: NotificationSettings, kinds: Sequence[AnyRule], **kwargs: Any) -> None:
        kwargs["initial"] = shown(preferences, kinds)
        super().__init__(*args, **kwargs)
        _offer(self.fields["zone_name"], zone_choices())
        _offer(self.fields["mailed"], [(rule.name, capfirst(str(rule.title))) for rule in kinds if rule.may_mute])
        _offer(self.fields["pushed"], [(rule.name, capfirst(str(rule.title))) for rule in kinds if rule.name in PUSHED])
        self.helper = FormHelper()
        self.helper.layout = Layout(
            _heading(gettext("When")),
            "zone_name",
            Row(Column("quiet_from", css_class="col-6"), Column("quiet_until", css_class="col-6")),
            _help_text(gettext("By the clock in your time zone. The same time twice: mail at any hour.")),
            _note(
                [rule for rule in kinds if not rule.may_wait and rule.name != WeeklyDigest.name],
                gettext("These come at any hour, as they cannot wait"),
            ),
            _heading(gettext("What")),
            "mailed",
            _note([rule for rule in kinds if not rule.may_mute], gettext("These always come by mail too")),
            "pushed",
            _heading(gettext("Once a week")),
            Row(Column("digest_weekday", css_class="col-sm-7"), Column("digest_hour", css_class="col-sm-5")),
            _note([rule for rule in kinds if rule.keeps_a_week], gettext("These can wait for it")),
        )
        self.helper.add_input(Submit("send", gettext("Save")))


def shown(preferences: NotificationSettings, kinds: Sequence[AnyRule]) -> dict[str, Any]:
    """NotificationSettings as their form shows them."""
    return {
        "zone_name": preferences.zone_name,
        "quiet_from": preferences.quiet_from,
        "quiet_until": preferences.quiet_until,
        "digest_weekday": preferences.digest_weekday,
        "digest_hour": preferences.digest_hour,
        "pushed": sorted(preferences.pushed_kinds),
        "mailed": [rule.name for rule in kinds if rule.may_mute and rule.name not in preferences.muted_kinds],
    }


def zone_choices() -> list[tuple[str, str]]:
    own = gettext("the club's (%(zone)s)") % {"zone": _zone_words(timezone.get_default_timezone_name())}
    return [("", own), *((name, _zone_words(name)) for name in zone_names())]


def _offer(field: forms.Field, choices: list[tuple[str, str]]) -> None:
    assert isinstance(field, forms.ChoiceField)
    field.choices = choices


def _zone_words(name: str) -> str:
    return name.replace("_", " ")


def _heading(text: str) -> HTML:
    return HTML(format_html('<h2 class="h4">{}</h2>', text))


def _help_text(text: str) -> HTML:
    return HTML(format_html('<p class="form-text">{}</p>', text))


def _note(kinds: Sequence[AnyRule], text: str) -> HTML:
    """Which kinds a rule of the house is about; nothing where it is about none."""
    return HTML(render_to_string("reminders/parts/kinds.html", {"kinds": kinds, "text": text}))
