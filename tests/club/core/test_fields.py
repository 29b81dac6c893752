from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django import forms
from django.utils import timezone

from club.core.fields import ClockField


class Asked(forms.Form):
    at = ClockField(label="When?")


def asked(text: str, which: str = "") -> Asked:
    return Asked({"at": text, "at_which": which})


def test_a_time_is_taken_in_the_active_zone():
    with timezone.override("America/Denver"):
        form = asked("2026-09-14T18:30")
        assert form.is_valid()
        assert form.cleaned_data["at"] == datetime(2026, 9, 15, 0, 30, tzinfo=UTC)
        assert asked("2026-09-14 18:30").is_valid()


def test_half_past_two_on_the_night_of_the_gap_is_refused_and_explained():
    with timezone.override("America/Denver"):
        form = asked("2027-03-14T02:30")
        assert form.errors["at"] == [
            "There was no 02:30 on that day: the clocks were put forward over it. Give the time the clock showed."
        ]
        assert 'value="2027-03-14T02:30"' in str(form)
        assert asked("2027-03-14T01:59").is_valid()
        assert asked("2027-03-14T03:00").is_valid()


def test_a_doubled_hour_is_asked_about_and_then_placed():
    with timezone.override("America/Denver"):
        form = asked("2026-11-01T01:30")
        assert "twice" in form.errors["at"][0]
        assert 'name="at_which"' in str(form)
        assert asked("2026-11-01T01:30", "perhaps").errors
        first, second = asked("2026-11-01T01:30", "first"), asked("2026-11-01T01:30", "second")
        assert first.is_valid()
        assert second.is_valid()
        assert first.cleaned_data["at"].astimezone(UTC) == datetime(2026, 11, 1, 7, 30, tzinfo=UTC)
        assert second.cleaned_data["at"].astimezone(UTC) == datetime(2026, 11, 1, 8, 30, tzinfo=UTC)


def test_an_ordinary_hour_is_not_asked_about():
    with timezone.override("America/Denver"):
        assert 'name="at_which"' not in str(asked("2026-09-14T18:30"))


@pytest.mark.parametrize(
    "text", ["soon", "2026-09-14", "2026-13-01T10:00", "2026-02-30T10:00", "0001-01-01T00:00", "9999-12-31T23:59", "T:"]
)
def test_what_is_no_date_and_time_is_refused_and_kept(text):
    with timezone.override("America/Denver"):
        form = asked(text)
        assert form.errors["at"] == ["Give a date and a time, such as 2026-09-14 18:30."]
        assert f'value="{text}"' in str(form)


def test_an_empty_time_is_none_where_it_may_be():
    form = asked("")
    assert form.errors["at"] == ["This field is required."]
    form = Asked({"at": ""})
    form.fields["at"].required = False
    assert form.is_valid()
    assert form.cleaned_data["at"] is None


def test_now_is_said_in_the_active_zone_and_by_the_clock_of_the_world():
    with timezone.override("America/Denver"):
        before = timezone.now()
        page = str(Asked()["at"])
        wall, at = (re.search(rf'data-{name}="([^"]+)"', page)[1] for name in ("now", "at"))
    assert timedelta(seconds=-1) <= datetime.fromtimestamp(int(at) / 1000, UTC) - before <= timedelta(seconds=60)
    assert datetime.fromisoformat(wall).replace(tzinfo=ZoneInfo("America/Denver")).timestamp() * 1000 == int(at)
