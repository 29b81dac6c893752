from __future__ import annotations

from celery import shared_task

from recipes.services import published_sweep


@shared_task(name="recipes.tasks.sweep_published")  # type: ignore[untyped-decorator]
def sweep_published() -> None:
    published_sweep()
