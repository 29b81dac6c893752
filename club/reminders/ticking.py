"""One clock at a time: a second beat, or a tick that comes twice, finds the round taken and does no harm."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.conf import settings
from django.db.models import Q

from club.reminders.models import Tick

NAME = "reminders"
# A machine whose clock was wrong for a moment must not stop the rules from being asked for a year.
NO_LEASE_IS_LONGER = timedelta(hours=1)


def tick_begin(*, now: datetime) -> bool:
    """True when this round is ours. It stays so for two ticks, then the holder is taken for dead."""
    if _take(now):
        return True
    if Tick.objects.filter(name=NAME).exists():
        return False
    Tick.objects.bulk_create([Tick(name=NAME, free_at=now)], ignore_conflicts=True)
    return _take(now)


def _take(now: datetime) -> bool:
    free = Q(free_at__lte=now) | Q(free_at__gt=now + NO_LEASE_IS_LONGER)
    until = now + timedelta(seconds=2 * settings.REMINDER_TICK_SECONDS)
    return Tick.objects.filter(free, name=NAME).update(free_at=until, began_at=now) == 1


def tick_end(*, began: datetime, now: datetime) -> None:
    """The next round may begin three quarters of a tick after this one began: a clock is never that early."""
    free_at = began + timedelta(seconds=0.75 * settings.REMINDER_TICK_SECONDS)
    Tick.objects.filter(name=NAME, began_at=began).update(free_at=free_at, ended_at=now)


def last_tick(now: datetime) -> timedelta | None:
    """How long ago a round ended; None when there never was one."""
    ended = Tick.objects.filter(name=NAME).values_list("ended_at", flat=True).first()
    return now - ended if ended else None
