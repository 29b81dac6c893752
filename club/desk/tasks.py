from __future__ import annotations

from celery import shared_task
from django.utils import timezone

from club.desk.retention import retention_enforce


@shared_task(name="club.desk.tasks.enforce_retention")  # type: ignore[untyped-decorator]
def enforce_retention() -> None:
    retention_enforce(timezone.now())
