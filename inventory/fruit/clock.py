"""The club's own clock: which day it is there, and which moment an hour on its wall is."""

from __future__ import annotations

from datetime import UTC, date, datetime, time

from django.utils import timezone


def now_or(moment: datetime | None) -> datetime:
    """The moment given, in UTC, or this very one."""
    return (moment or timezone.now()).astimezone(UTC)


def club_day(now: datetime) -> date:
    """The day it is in the club's own zone, whoever asks from wherever."""
    return timezone.localtime(now, timezone.get_default_timezone()).date()


def wall_moment(day: date, hour: time) -> datetime | None:
    """That hour on the club's wall, in UTC; None on the day of a clock change that leaves this hour out."""
    zone = timezone.get_default_timezone()
    moment = datetime.combine(day, hour, zone).astimezone(UTC)
    return moment if moment.astimezone(zone).replace(tzinfo=None) == datetime.combine(day, hour) else None
