from __future__ import annotations

from celery import shared_task
from django.utils import timezone

from club.run.audits import audit_tonight
from club.run.backup import backup_by_schedule

LONGEST_S = 6 * 3600


# Taken off the queue when they begin: a long one must not be given to somebody else as if its worker had died.
@shared_task(name="club.run.tasks.back_up", acks_late=False, time_limit=LONGEST_S, soft_time_limit=LONGEST_S)  # type: ignore[untyped-decorator]
def back_up() -> None:
    backup_by_schedule(timezone.now())


@shared_task(name="club.run.tasks.audit", acks_late=False, time_limit=LONGEST_S, soft_time_limit=LONGEST_S)  # type: ignore[untyped-decorator]
def audit() -> None:
    audit_tonight(timezone.now())
