from __future__ import annotations

from django.apps import AppConfig


class CoreConfig(AppConfig):
    name = "club.core"

    def ready(self) -> None:
        from club.core import lookups  # noqa: F401 - registers what it holds
