from __future__ import annotations

from celery import shared_task
from django.utils import timezone

from inventory.fruit.services import offers_share_due


@shared_task(name="inventory.fruit.tasks.share_out_offers")  # type: ignore[untyped-decorator]
def share_out_offers() -> None:
    offers_share_due(timezone.now())
