"""Wall time over clock changes, in the club's zone and in others."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from club.core.clock import Doubled, WallTimeError, at_hour, moment_near, moment_of, weekly

DENVER = ZoneInfo("America/Denver")
FORWARD, BACK = date(2026, 3, 8), date(2026, 11, 1)  # the Sundays of the change in North America
ZONES = ("America/Denver", "America/St_Johns", "Europe/Berlin", "Australia/Lord_Howe", "America/Regina")


def test_a_time_that_does_not_come_is_refused_and_says_what_to_do():
    with pytest.raises(
        WallTimeError, match="clocks go forward, and 02:30 does not come. Choose a time before or after"
    ):
        moment_of(FORWARD, time(2, 30), DENVER)


def test_a_time_that_comes_twice_is_refused_and_says_what_to_do():
    with pytest.raises(WallTimeError, match="clocks go back, and 01:30 comes twice. Choose a time outside"):
        moment_of(BACK, time(1, 30), DENVER)


@pytest.mark.parametrize(
    ("day", "at", "moment"),
    [
        (FORWARD, time(1, 59), datetime(2026, 3, 8, 8, 59, tzinfo=UTC)),
        (FORWARD, time(3, 0), datetime(2026, 3, 8, 9, 0, tzinfo=UTC)),
        (BACK, time(0, 59), datetime(2026, 11, 1, 6, 59, tzinfo=UTC)),
        (BACK, time(2, 0), datetime(2026, 11, 1, 9, 0, tzinfo=UTC)),
        (date(2026, 7, 4), time(10, 0), datetime(2026, 7, 4, 16, 0, tzinfo=UTC)),
    ],
)
def test_the_minutes_around_a_change_are_what_the_wall_shows(day, at, moment):
    assert moment_of(day, at, DENVER) == moment


def test_a_weekly_series_keeps_its_hour_on_the_wall_over_both_changes():
    for first, count in ((date(2026, 2, 28), 4), (date(2026, 10, 17), 4)):
        moments = [moment_of(day, time(10, 0), DENVER) for day in weekly(first, count)]
        assert {moment.astimezone(DENVER).time() for moment in moments} == {time(10, 0)}
        assert {later - earlier for earlier, later in zip(moments, moments[1:], strict=False)} != {timedelta(days=7)}


def test_what_nobody_asked_for_by_the_minute_is_never_refused():
    assert moment_near(FORWARD, time(2, 30), DENVER) == datetime(2026, 3, 8, 9, 30, tzinfo=UTC)
    assert moment_near(BACK, time(1, 30), DENVER) == datetime(2026, 11, 1, 7, 30, tzinfo=UTC)


def test_an_hour_of_the_club_is_on_its_own_wall_whoever_asks_from_wherever():
    with timezone.override("Europe/Berlin"):
        assert at_hour(date(2026, 7, 4), time(18)) == datetime(2026, 7, 5, 0, 0, tzinfo=UTC)
        assert at_hour(FORWARD, time(2, 30)) == datetime(2026, 3, 8, 9, 30, tzinfo=UTC)
        assert at_hour(BACK, time(1, 30)) == datetime(2026, 11, 1, 7, 30, tzinfo=UTC)


def test_which_of_the_two_is_meant_is_the_caller_s_to_say():
    first, second = datetime(2026, 11, 1, 7, 30, tzinfo=UTC), datetime(2026, 11, 1, 8, 30, tzinfo=UTC)
    assert moment_of(BACK, time(1, 30), DENVER, doubled=Doubled.FIRST) == first
    assert moment_of(BACK, time(1, 30), DENVER, doubled=Doubled.SECOND) == second
    assert moment_near(BACK, time(1, 30), DENVER, doubled=Doubled.SECOND) == second
    for doubled in Doubled:
        with pytest.raises(WallTimeError, match="does not come"):
            moment_of(FORWARD, time(2, 30), DENVER, doubled=doubled)


@given(st.dates(date(2025, 1, 1), date(2028, 1, 1)), st.times(), st.sampled_from(ZONES))
def test_a_moment_that_is_given_is_the_only_one_at_which_the_wall_shows_that_time(day, at, name):
    """Against a search: every moment in the two days around, in steps that meet it, which shows this very time."""
    zone = ZoneInfo(name)
    wall = datetime.combine(day, at)
    shown = {
        moment
        for minutes in range(-16 * 60, 16 * 60 + 1, 15)
        if (moment := wall.replace(tzinfo=UTC) + timedelta(minutes=minutes)).astimezone(zone).replace(tzinfo=None)
        == wall
    }
    if len(shown) == 1:
        assert moment_of(day, at, zone) == shown.pop()
    else:
        with pytest.raises(WallTimeError):
            moment_of(day, at, zone)
