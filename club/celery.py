"""The Celery application. Tasks are one-line adapters over services; every one may safely run twice."""

from __future__ import annotations

import logging.config
import os
from contextlib import ExitStack
from typing import Any

from celery import Celery
from celery.signals import before_task_publish, setup_logging, task_postrun, task_prerun
from django.conf import settings

from club.core.logs import numbered, request_id

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "club.settings")

app = Celery("kettlehall")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()

# Every room's periodic jobs. Each is a message of its own, so that one that fails holds up no other, and each may run
# twice at once: a second beat does no harm. What moves on by the clock comes before the reminders that tell of it; when
# workers take them in another order, the mail goes out one round later.
JOBS = {
    "sessions": "club.members.tasks.sweep_sessions",
    "waiting-lines": "inventory.equipment.tasks.move_waiting_lines",
    "seats": "club.classes.tasks.move_seats",
    "notes": "club.classes.tasks.erase_notes",
    "fruit": "inventory.fruit.tasks.share_out_offers",
    "published-recipes": "recipes.tasks.sweep_published",
    "club-season": "club.season.tasks.sum_up_club",
    "recalls": "inventory.batches.tasks.open_recalls",
    "backups": "club.run.tasks.back_up",
    "retention": "club.desk.tasks.enforce_retention",
    "audit": "club.run.tasks.audit",
    "push": "club.reminders.tasks.push_to_phones",
    "reminders": "club.reminders.tasks.gather_and_send",
}

app.conf.beat_schedule = {
    name: {
        "task": task,
        "schedule": settings.REMINDER_TICK_SECONDS,
        "options": {"expires": max(1.0, settings.REMINDER_TICK_SECONDS * 0.9)},
    }
    for name, task in JOBS.items()
}


@setup_logging.connect  # type: ignore[untyped-decorator]
def log_as_the_site_does(**named: Any) -> None:
    """Whoever hears this signal sets up logging in Celery's place: its own lines have no zone."""
    logging.config.dictConfig(settings.LOGGING)


# A task goes under the number of the request that sent it, or under its own.

_numbers: dict[str, ExitStack] = {}


@before_task_publish.connect  # type: ignore[untyped-decorator]
def send_number_along(headers: dict[str, Any], **named: Any) -> None:
    if request_id():
        headers["request_id"] = request_id()


@task_prerun.connect  # type: ignore[untyped-decorator]
def take_number(task_id: str, task: Any, **named: Any) -> None:
    _numbers[task_id] = ExitStack()
    _numbers[task_id].enter_context(numbered(task.request.get("request_id") or task_id))


@task_postrun.connect  # type: ignore[untyped-decorator]
def leave_number(task_id: str, **named: Any) -> None:
    if number := _numbers.pop(task_id, None):
        number.close()
