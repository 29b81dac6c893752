from __future__ import annotations

from django.apps import AppConfig


class RunConfig(AppConfig):
    name = "club.run"
