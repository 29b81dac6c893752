from __future__ import annotations

from django.apps import AppConfig


class CoreConfig(AppConfig):
    name = "club.core"

    def ready(self) -> None:
        from club.core import lookups, sealing  # noqa: F401 - register what they hold
