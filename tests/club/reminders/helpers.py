"""What the tests of the rules share: the club's clock, what was gathered, and what it says."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from unittest.mock import patch
from zoneinfo import ZoneInfo

import time_machine
from django.utils.module_loading import import_string

from club.celery import app
from club.reminders import outbox
from club.reminders.models import Reminder
from club.reminders.rules import Message
from club.reminders.services import RULES

DENVER = ZoneInfo("America/Denver")
TODAY = date(2026, 9, 14)


def at(offset: int, hour: int, minute: int = 0) -> datetime:
    """So many days from TODAY, at that hour on the club's wall."""
    return datetime(TODAY.year, TODAY.month, TODAY.day, hour, minute, tzinfo=DENVER) + timedelta(days=offset)


def gathered(now: datetime) -> list[tuple[str, str]]:
    outbox.gather(now)
    return sorted(Reminder.objects.values_list("rule", "person__email"))


@contextmanager
def only(*rules: str) -> Iterator[None]:
    """No other rule is asked what is due: a round of them all, each day for weeks, takes long."""
    with patch.object(outbox, "RULES", {name: RULES[name] for name in rules}):
        yield


def message(rule: str, now: datetime) -> Message:
    return RULES[rule].message(Reminder.objects.filter(rule=rule).latest("pk"), now)


def run_periodic_jobs(now: datetime) -> list[Exception]:
    """Each job of beat's schedule once, in its order, each as a message of its own; what they raised."""
    with time_machine.travel(now, tick=False):
        results = [import_string(entry["task"]).apply() for entry in app.conf.beat_schedule.values()]
    return [result.result for result in results if result.failed()]
