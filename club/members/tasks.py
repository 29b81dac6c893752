from __future__ import annotations

from celery import shared_task

from club.members import services


@shared_task(name="club.members.tasks.sweep_sessions")  # type: ignore[untyped-decorator]
def sweep_sessions() -> None:
    services.sessions_sweep()
