"""Quiet hours and the weekly hour, by a person's own clock. Pure: the moment is an argument, and so is the zone.

Both are wall time: they mean what her clock shows, on the days it is put forward or back too. So "inside" is asked
of the clock, and an end is the first moment at which the clock shows something else: it comes when the clock gets
there, or when it jumps over it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo

# No zone puts its clock twice within this long, and no quiet hours last longer.
A_DAY_AND_MORE = timedelta(hours=26)


@dataclass(frozen=True)
class QuietHours:
    """From the first to the second time of day, the second no longer quiet. Over midnight when it comes first.

    The same time twice: no quiet hours.
    """

    begin: time
    end: time

    def hold_at(self, wall: time) -> bool:
        if self.begin <= self.end:
            return self.begin <= wall < self.end
        return wall >= self.begin or wall < self.end


def quiet_until(now: datetime, hours: QuietHours, zone: tzinfo) -> datetime | None:
    """When the quiet hours that hold at `now` (aware) are over, in UTC; None when none hold.

    ValueError for a time without a zone.
    """
    if now.tzinfo is None:
        raise ValueError("a moment without a time zone is no hour on anybody's clock")
    at = now.astimezone(UTC)
    if not _is_quiet(at, hours, zone):
        return None
    ends = (*_moments_of(hours.end, at, zone), *_clock_is_put(at, zone))
    return min(moment for moment in ends if moment > at and not _is_quiet(moment, hours, zone))


def last_weekly(now: datetime, weekday: int, hour: int, zone: tzinfo) -> datetime:
    """The last moment, in UTC and not after `now`, at which a clock in `zone` showed that hour of that weekday.

    Monday is 0. An hour that the clock jumps over counts as the same stretch after midnight; of two, the first counts.
    """
    today = now.astimezone(zone).date()
    this_week = today - timedelta(days=(today.weekday() - weekday) % 7)
    moment = _at(this_week, time(hour), zone)
    return moment if moment <= now else _at(this_week - timedelta(days=7), time(hour), zone)


def _is_quiet(moment: datetime, hours: QuietHours, zone: tzinfo) -> bool:
    return hours.hold_at(moment.astimezone(zone).time())


def _moments_of(wall: time, at: datetime, zone: tzinfo) -> Iterator[datetime]:
    """When a clock shows `wall` on the days around `at`: twice on a day when it is put back over it."""
    today = at.astimezone(zone).date()
    for days in (-1, 0, 1):
        for fold in (0, 1):
            yield _at(today + timedelta(days=days), wall.replace(fold=fold), zone)


def _clock_is_put(at: datetime, zone: tzinfo) -> Iterator[datetime]:
    """The moment after `at` when the clock is put forward or back, if that is within the day. To the second."""
    before = at.replace(microsecond=0)
    after = before + A_DAY_AND_MORE
    offset = _offset(before, zone)
    if _offset(after, zone) == offset:
        return
    while after - before > timedelta(seconds=1):
        middle = before + timedelta(seconds=(after - before) // timedelta(seconds=2))
        if _offset(middle, zone) == offset:
            before = middle
        else:
            after = middle
    yield after


def _offset(moment: datetime, zone: tzinfo) -> timedelta | None:
    return moment.astimezone(zone).utcoffset()


def _at(day: date, wall: time, zone: tzinfo) -> datetime:
    return datetime.combine(day, wall, zone).astimezone(UTC)
