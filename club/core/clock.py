"""The club's own clock: which day it is there, and which moment an hour on a wall is.

Safe over clock changes: an hour that the clock skips in spring, and one that it shows twice in autumn.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from enum import StrEnum
from functools import cache
from zoneinfo import available_timezones

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

WEEK = timedelta(days=7)


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


class Doubled(StrEnum):
    """Which of the two moments is meant by an hour that the clock shows twice."""

    FIRST = "first"
    SECOND = "second"
    REFUSE = "refuse"


class WallTimeError(ValueError):
    """The clock does not show this time just once on that day. The message says what to do."""


class WallTimeSkipped(WallTimeError):
    """The clocks go forward over it: that day has no such time."""


class WallTimeDoubled(WallTimeError):
    """The clocks go back over it, and nobody said which of the two is meant."""


def moment_of(day: date, at: time, zone: tzinfo, *, doubled: Doubled = Doubled.REFUSE) -> datetime:
    """The moment, in UTC, at which the clock on the wall shows this time. WallTimeSkipped, WallTimeDoubled.

    A time that does not exist is found by going to UTC and back: the clock then shows another hour. One that is
    shown twice has two offsets.
    """
    wall = datetime.combine(day, at)
    moment = moment_near(day, at, zone, doubled=doubled)
    params = {"time": f"{at:%H:%M}", "day": day.isoformat()}
    if moment.astimezone(zone).replace(tzinfo=None) != wall:
        text = _("On %(day)s the clocks go forward, and %(time)s does not come. Choose a time before or after that.")
        raise WallTimeSkipped(text % params)
    if doubled is Doubled.REFUSE and moment != moment_near(day, at, zone, doubled=Doubled.SECOND):
        text = _("On %(day)s the clocks go back, and %(time)s comes twice. Choose a time outside that hour.")
        raise WallTimeDoubled(text % params)
    return moment


def moment_near(day: date, at: time, zone: tzinfo, *, doubled: Doubled = Doubled.FIRST) -> datetime:
    """As moment_of, but never refused, for what nobody asked for by the minute: a skipped time is the hour after it."""
    return datetime.combine(day, at, zone).replace(fold=int(doubled is Doubled.SECOND)).astimezone(UTC)


def at_hour(day: date, at: time) -> datetime:
    """That hour on the wall of the club, in UTC; as moment_near."""
    return moment_near(day, at, timezone.get_default_timezone())


def weekly(first: date, count: int) -> Iterator[date]:
    """The same weekday, week after week; the hour on the wall stays, whatever the clocks do. Dates end with 9999."""
    return (first + n * WEEK for n in range(min(count, (date.max - first) // WEEK + 1)))


def zoned_text(moment: datetime) -> str:
    """A moment as the clock on the wall shows it, with the zone's own letters: an hour may come twice."""
    local = timezone.localtime(moment)
    return f"{date_format(local, 'j M Y, H:i')} {local.tzname()}"


@cache
def zone_names() -> tuple[str, ...]:
    """The places of the IANA list that this machine knows, in order; no abbreviations, no fixed offsets."""
    places = (name for name in available_timezones() if "/" in name)
    return tuple(sorted(name for name in places if not name.startswith(("Etc/", "SystemV/", "US/"))))
