"""Is the site well? Asked by monitors and by `up` without signing in, and by organisers on a page."""

from __future__ import annotations

from datetime import datetime
from typing import Literal, TypedDict

import redis
from django.conf import settings
from django.db import DatabaseError, connection

from club.reminders.models import Reminder
from club.reminders.ticking import last_tick

State = Literal["ok", "gone"]
PATIENCE_S = 2
# Ticks missed before an organiser is told: one may fall into a restart.
TICKS_MISSED = 3
# Our own choice, no source: a reminder a quarter of an hour late is one that somebody should look after.
LATE_S = 15 * 60


class Health(TypedDict):
    """The figures are None while the database is gone."""

    database: State
    broker: State
    oldest_due_reminder_late_s: int | None
    last_tick_s_ago: int | None  # None also before the first
    reminders_waiting: int | None
    reminders_given_up: int | None


def health_at(now: datetime) -> Health:
    answer: Health = {
        "database": "gone",
        "broker": broker_state(),
        "oldest_due_reminder_late_s": None,
        "last_tick_s_ago": None,
        "reminders_waiting": None,
        "reminders_given_up": None,
    }
    try:
        late, ticked = Reminder.objects.lateness(now), last_tick(now)
        answer["reminders_waiting"] = Reminder.objects.waiting(now).order_by().count()
        answer["reminders_given_up"] = Reminder.objects.dead().count()
    except DatabaseError:
        connection.close()  # a broken connection kept open would fail the next request too
        return answer
    answer["oldest_due_reminder_late_s"] = int(late.total_seconds())
    answer["last_tick_s_ago"] = int(ticked.total_seconds()) if ticked is not None else None
    answer["database"] = "ok"
    return answer


def is_ticking(found: Health) -> bool:
    """False when the clock behind the reminders stands still."""
    ago = found["last_tick_s_ago"]
    return ago is not None and ago <= TICKS_MISSED * settings.REMINDER_TICK_SECONDS


def broker_state() -> State:
    try:
        with redis.from_url(settings.REDIS_URL, socket_connect_timeout=PATIENCE_S, socket_timeout=PATIENCE_S) as client:
            client.ping()
    except redis.RedisError:
        return "gone"
    return "ok"
