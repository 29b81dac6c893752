from __future__ import annotations

from celery import shared_task
from django.utils import timezone

from club.reminders import services


@shared_task(name="club.reminders.tasks.tick")  # type: ignore[untyped-decorator]
def tick() -> None:
    services.tick(timezone.now())
