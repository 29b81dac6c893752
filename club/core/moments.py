"""A date and time as a wall clock shows it, with the two nights a year on which that is not enough."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext_lazy as _

from club.core.clock import in_utc

FIRST, SECOND = "first", "second"


class ClockInput(forms.Widget):
    """A date-and-time box; beside it, once a doubled hour was typed, which of the two it was."""

    template_name = "batches/clock_input.html"

    def value_from_datadict(self, data: Mapping[str, Any], files: Any, name: str) -> Any:
        return (data.get(name) or "", data.get(f"{name}_which") or "")

    def value_omitted_from_data(self, data: Mapping[str, Any], files: Any, name: str) -> bool:
        return name not in data

    def id_for_label(self, id_: str, index: Any = None) -> str:
        return id_

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        context = super().get_context(name, None, attrs)
        text, which = value if isinstance(value, tuple) else (_typed(value), "")
        context["widget"] |= {"value": text, "which": which, "is_doubled": _is_doubled(text)}
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
        if isinstance(text, datetime):
            return in_utc(text if timezone.is_aware(text) else _placed(text, which))
        if not str(text).strip():
            return None
        wall = _parsed(str(text))
        if wall is None:
            raise forms.ValidationError(self.error_messages["invalid"], code="invalid")
        if timezone.is_naive(wall):
            self._check(wall, which)
            wall = _placed(wall, which)
        return in_utc(wall)

    def _check(self, wall: datetime, which: str) -> None:
        said = {"time": f"{wall:%H:%M}"}
        if _is_left_out(wall):
            raise forms.ValidationError(self.error_messages["left_out"], code="left_out", params=said)
        if _twice(wall) and which not in (FIRST, SECOND):
            raise forms.ValidationError(self.error_messages["doubled"], code="doubled", params=said)

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


def _placed(wall: datetime, which: str) -> datetime:
    return wall.replace(tzinfo=timezone.get_current_timezone(), fold=int(which == SECOND))


def _is_doubled(text: str) -> bool:
    wall = _parsed(text)
    return wall is not None and timezone.is_naive(wall) and not _is_left_out(wall) and _twice(wall)


def _is_left_out(wall: datetime) -> bool:
    """Whether no clock showed this: put into UTC and back, it has moved."""
    back = timezone.localtime(in_utc(_placed(wall, FIRST)))
    return back.replace(tzinfo=None) != wall


def _twice(wall: datetime) -> bool:
    return _placed(wall, FIRST).utcoffset() != _placed(wall, SECOND).utcoffset()
