from __future__ import annotations

from celery import shared_task
from django.utils import timezone

from inventory.equipment.services import waiting_move_on


@shared_task(name="inventory.equipment.tasks.move_waiting_lines")  # type: ignore[untyped-decorator]
def move_waiting_lines() -> None:
    waiting_move_on(timezone.now())
