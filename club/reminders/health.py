"""Is the site well? Asked by monitors and by `up`, without signing in."""

from __future__ import annotations

from datetime import datetime
from typing import Literal, TypedDict

import redis
from django.conf import settings
from django.db import DatabaseError, connection

from club.reminders.models import Reminder

State = Literal["ok", "gone"]
PATIENCE_S = 2


class Health(TypedDict):
    database: State
    broker: State
    oldest_due_reminder_late_s: int | None  # None while the database is gone
    reminders_given_up: int | None


def health_at(now: datetime) -> Health:
    answer: Health = {
        "database": "gone",
        "broker": broker_state(),
        "oldest_due_reminder_late_s": None,
        "reminders_given_up": None,
    }
    try:
        late = Reminder.objects.lateness(now)
        answer["reminders_given_up"] = Reminder.objects.dead().count()
    except DatabaseError:
        connection.close()  # a broken connection kept open would fail the next request too
        return answer
    answer["oldest_due_reminder_late_s"] = int(late.total_seconds())
    answer["database"] = "ok"
    return answer


def broker_state() -> State:
    try:
        with redis.from_url(settings.REDIS_URL, socket_connect_timeout=PATIENCE_S, socket_timeout=PATIENCE_S) as client:
            client.ping()
    except redis.RedisError:
        return "gone"
    return "ok"
