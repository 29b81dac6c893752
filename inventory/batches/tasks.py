from __future__ import annotations

from celery import shared_task
from django.utils import timezone

from inventory.batches.services import recalls_follow_withdrawals


@shared_task(name="inventory.batches.tasks.open_recalls")  # type: ignore[untyped-decorator]
def open_recalls() -> None:
    recalls_follow_withdrawals(timezone.now())
