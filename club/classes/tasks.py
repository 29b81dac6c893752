from __future__ import annotations

from celery import shared_task
from django.utils import timezone

from club.classes.services import needs_erase, seats_move_on


@shared_task(name="club.classes.tasks.move_seats")  # type: ignore[untyped-decorator]
def move_seats() -> None:
    seats_move_on(timezone.now())


@shared_task(name="club.classes.tasks.erase_notes")  # type: ignore[untyped-decorator]
def erase_notes() -> None:
    needs_erase(now=timezone.now())
