"""Quiet hours by the clock on her wall, over both clock changes and in zones with odd offsets."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from club.reminders.models import QuietHours, last_weekly, quiet_until

NIGHT = QuietHours(time(21, 30), time(7, 30))
DENVER = ZoneInfo("America/Denver")
ODD_ZONES = (
    "America/Denver",
    "Asia/Kathmandu",  # +05:45
    "Australia/Lord_Howe",  # puts its clock by half an hour
    "America/St_Johns",  # -03:30
    "Pacific/Apia",  # crossed the date line in 2011, a whole day gone
    "Pacific/Chatham",  # +12:45, and summer time
    "America/Havana",  # back at 01:00, to midnight
    "America/Sao_Paulo",  # until 2019 back at midnight, to 23:00 of the day before
    "Africa/Casablanca",  # four changes in some years
)


def end_of(text: str, zone: str, hours: QuietHours = NIGHT, fold: int = 0) -> str | None:
    """What the clock shows when quiet hours end that hold when it shows `text`."""
    there = ZoneInfo(zone)
    end = quiet_until(datetime.fromisoformat(text).replace(tzinfo=there, fold=fold), hours, there)
    return None if end is None else end.astimezone(there).strftime("%Y-%m-%d %H:%M %z")


@pytest.mark.parametrize("zone", ODD_ZONES)
def test_a_night_ends_by_the_clock_on_her_wall_whatever_its_offset(zone):
    assert end_of("2026-07-01 21:29", zone) is None
    assert end_of("2026-07-01 21:30", zone).startswith("2026-07-02 07:30")
    assert end_of("2026-07-02 00:00", zone).startswith("2026-07-02 07:30")
    assert end_of("2026-07-02 07:29", zone).startswith("2026-07-02 07:30")
    assert end_of("2026-07-02 07:30", zone) is None


def test_hours_within_one_day_end_the_same_day():
    nap = QuietHours(time(13), time(15))
    assert end_of("2026-07-01 14:00", "America/Denver", nap) == "2026-07-01 15:00 -0600"
    assert end_of("2026-07-01 12:59", "America/Denver", nap) is None


def test_the_same_hour_twice_is_no_quiet_hours():
    never = QuietHours(time(22), time(22))
    assert all(end_of(f"2026-07-01 {hour:02}:00", "America/Denver", never) is None for hour in range(24))


def test_a_night_with_an_hour_more_still_ends_by_the_clock():
    assert end_of("2026-10-31 21:30", "America/Denver") == "2026-11-01 07:30 -0700"
    late = datetime(2026, 10, 31, 21, 30, tzinfo=DENVER)
    assert quiet_until(late, NIGHT, DENVER) - late.astimezone(UTC) == timedelta(hours=11)


def test_a_night_with_an_hour_less_still_ends_by_the_clock():
    late = datetime(2026, 3, 7, 21, 30, tzinfo=DENVER)
    assert quiet_until(late, NIGHT, DENVER) - late.astimezone(UTC) == timedelta(hours=9)


def test_half_an_hour_of_lord_howe_is_half_an_hour():
    there = ZoneInfo("Australia/Lord_Howe")
    late = datetime(2026, 4, 4, 21, 30, tzinfo=there)  # the clock goes back in the night, by half an hour
    assert quiet_until(late, NIGHT, there) - late.astimezone(UTC) == timedelta(hours=10, minutes=30)


def test_an_end_that_the_clock_jumps_over_comes_with_the_jump():
    # In Denver 02:00 to 03:00 of 8 March 2026 are not on any clock.
    until = QuietHours(time(21, 30), time(2, 30))
    assert end_of("2026-03-08 01:59", "America/Denver", until) == "2026-03-08 03:00 -0600"


def test_an_end_that_comes_twice_ends_it_twice():
    until = QuietHours(time(21, 30), time(1, 30))
    assert end_of("2026-11-01 00:30", "America/Denver", until) == "2026-11-01 01:30 -0600"
    assert end_of("2026-11-01 01:10", "America/Denver", until, fold=1) == "2026-11-01 01:30 -0700"


def test_a_day_that_never_was_is_slept_through():
    # Apia went from 29 to 31 December 2011.
    assert end_of("2011-12-29 22:00", "Pacific/Apia") == "2011-12-31 07:30 +1400"


def test_a_clock_put_back_over_midnight_does_not_end_the_night():
    # Until 2019 São Paulo went from midnight back to 23:00.
    assert end_of("2018-02-17 23:30", "America/Sao_Paulo", fold=1) == "2018-02-18 07:30 -0300"
    brief = QuietHours(time(23, 50), time(0, 10))
    assert end_of("2018-02-17 23:55", "America/Sao_Paulo", brief) == "2018-02-17 23:00 -0300"


def test_a_moment_without_a_zone_is_refused():
    with pytest.raises(ValueError, match="time zone"):
        quiet_until(datetime(2026, 7, 1), NIGHT, DENVER)  # noqa: DTZ001


minutes_of_day = st.times().map(lambda at: at.replace(second=0, microsecond=0))
moments = st.datetimes(datetime(2005, 1, 1), datetime(2037, 1, 1), timezones=st.just(UTC))  # noqa: DTZ001
# Within a day of each change a random moment would seldom fall.
CHANGES = [
    datetime(2026, 3, 8, 9, tzinfo=UTC),
    datetime(2026, 11, 1, 8, tzinfo=UTC),
    datetime(2026, 4, 4, 15, tzinfo=UTC),
    datetime(2026, 10, 3, 15, 30, tzinfo=UTC),
    datetime(2011, 12, 30, 10, tzinfo=UTC),
    datetime(2018, 2, 18, 2, tzinfo=UTC),
    datetime(2026, 2, 15, 2, tzinfo=UTC),
]
near_a_change = st.builds(
    lambda change, minutes: change + timedelta(minutes=minutes), st.sampled_from(CHANGES), st.integers(-1500, 1500)
)


@given(st.one_of(moments, near_a_change), st.sampled_from(ODD_ZONES), minutes_of_day, minutes_of_day)
@example(datetime(2026, 3, 8, 8, 59, tzinfo=UTC), "America/Denver", time(21, 30), time(2, 30))
@example(datetime(2011, 12, 30, 9, tzinfo=UTC), "Pacific/Apia", time(21, 30), time(7, 30))
def test_the_end_is_not_quiet_not_past_and_no_further_off_than_the_quiet_hours_are_long(now, zone, begin, end):
    there, hours = ZoneInfo(zone), QuietHours(begin, end)
    found = quiet_until(now, hours, there)
    assert (found is None) == (not hours.hold_at(now.astimezone(there).time()))
    if found is None:
        return
    assert not hours.hold_at(found.astimezone(there).time())
    assert found > now
    length = timedelta(hours=end.hour - begin.hour, minutes=end.minute - begin.minute) % timedelta(days=1)
    put_back = max(now.astimezone(there).utcoffset() - found.astimezone(there).utcoffset(), timedelta(0))
    assert found - now <= length + put_back
    # and no moment between is free already: a minute before it is quiet still
    assert quiet_until(max(now, found - timedelta(minutes=1)), hours, there) == found


@pytest.mark.parametrize(
    ("now", "expected"),
    [
        ("2026-11-25 12:00", "2026-11-23 08:00 -0700"),
        ("2026-11-23 08:00", "2026-11-23 08:00 -0700"),
        ("2026-11-23 07:59", "2026-11-16 08:00 -0700"),
        ("2026-11-02 09:00", "2026-11-02 08:00 -0700"),  # the morning after the clock went back
        ("2026-11-02 07:00", "2026-10-26 08:00 -0600"),
    ],
)
def test_the_weekly_hour_is_the_last_one_on_her_wall(now, expected):
    moment = last_weekly(datetime.fromisoformat(now).replace(tzinfo=DENVER), 0, 8, DENVER)
    assert moment.astimezone(DENVER).strftime("%Y-%m-%d %H:%M %z") == expected


def test_a_weekly_hour_that_the_clock_jumps_over_comes_once():
    after = datetime(2026, 3, 8, 12, tzinfo=DENVER)
    assert last_weekly(after, 6, 2, DENVER) == datetime(2026, 3, 8, 9, tzinfo=UTC)


@given(moments, st.sampled_from(ODD_ZONES), st.integers(0, 6), st.integers(0, 23))
def test_the_weekly_hour_is_never_ahead_and_never_more_than_a_week_and_a_day_ago(now, zone, weekday, hour):
    moment = last_weekly(now, weekday, hour, ZoneInfo(zone))
    assert timedelta(0) <= now - moment < timedelta(days=8, hours=1)
