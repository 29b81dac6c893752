"""The Celery application. Tasks are one-line adapters over services; every one may safely run twice."""

from __future__ import annotations

import os

from celery import Celery
from django.conf import settings

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
