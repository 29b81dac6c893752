from __future__ import annotations

from celery import shared_task
from django.core.cache import cache

from recipes.services import published_sweep

SWEEP_EVERY_S = 3600  # the acid list changes seldom, and no mail waits for it


@shared_task(name="recipes.tasks.sweep_published")  # type: ignore[untyped-decorator]
def sweep_published() -> None:
    if cache.add("recipes.published-swept", True, SWEEP_EVERY_S):
        published_sweep()
