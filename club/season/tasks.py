from __future__ import annotations

from celery import shared_task
from django.utils import timezone

from club.season.presentation import club_sums
from club.season.services import club_sum_up


@shared_task(name="club.season.tasks.sum_up_club")  # type: ignore[untyped-decorator]
def sum_up_club() -> None:
    now = timezone.now()
    club_sum_up(reckon=lambda kitchens: club_sums(kitchens, now=now).as_json(), now=now)
