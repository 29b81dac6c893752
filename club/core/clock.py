"""The club's own clock: which day it is there, and which moment an hour on its wall is."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.utils import timezone
from django.utils.translation import gettext as _


def now_or(moment: datetime | None) -> datetime:
    """The moment given, in UTC, or this very one."""
    return (moment or timezone.now()).astimezone(UTC)


def in_utc(moment: datetime) -> datetime:
    """The same moment in UTC. Python compares two times of one zone by the wall, where 01:50 may come before 01:10."""
    if moment.tzinfo is None:
        raise ValueError("a moment without a time zone says no elapsed time")
    return moment.astimezone(UTC)


def club_day(now: datetime | None = None) -> date:
    """The day it is in the club's own zone, at this moment or another, whoever asks from wherever."""
    return timezone.localdate(now or timezone.now(), timezone.get_default_timezone())


def wall_moment(day: date, hour: time) -> datetime | None:
    """That hour on the club's wall, in UTC; None on the day of a clock change that leaves this hour out."""
    zone = timezone.get_default_timezone()
    moment = datetime.combine(day, hour, zone).astimezone(UTC)
    return moment if moment.astimezone(zone).replace(tzinfo=None) == datetime.combine(day, hour) else None


# Wall time of the club turned into moments, safe over clock changes. Pure: the zone is an argument.

WEEK = timedelta(days=7)


class WallTimeError(ValueError):
    """The clock does not show this time on that day, or shows it twice. The message says what to do."""


def moment_of(day: date, at: time, zone: ZoneInfo) -> datetime:
    """The moment, in UTC, at which the clock on the wall shows this time. WallTimeError when there is none, or two.

    A time that does not exist is found by going to UTC and back: the clock then shows another hour. One that is
    shown twice has two offsets.
    """
    local = datetime.combine(day, at, zone)
    moment = local.astimezone(UTC)
    told = {"time": f"{at:%H:%M}", "day": day.isoformat()}
    if moment.astimezone(zone).replace(tzinfo=None) != local.replace(tzinfo=None):
        text = _("On %(day)s the clocks go forward, and %(time)s does not come. Choose a time before or after that.")
        raise WallTimeError(text % told)
    if local.utcoffset() != local.replace(fold=1).utcoffset():
        text = _("On %(day)s the clocks go back, and %(time)s comes twice. Choose a time outside that hour.")
        raise WallTimeError(text % told)
    return moment


def moment_near(day: date, at: time, zone: ZoneInfo) -> datetime:
    """As moment_of for what nobody asked for by the minute: after the gap, and the first of the two."""
    return datetime.combine(day, at, zone).astimezone(UTC)


def wall_of(moment: datetime, zone: ZoneInfo) -> datetime:
    """What the clock on the wall shows then."""
    return moment.astimezone(zone)


def weekly(first: date, count: int) -> Iterator[date]:
    """The same weekday, week after week; the hour on the wall stays, whatever the clocks do. Dates end with 9999."""
    return (first + n * WEEK for n in range(min(count, (date.max - first) // WEEK + 1)))
