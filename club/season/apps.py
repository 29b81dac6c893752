from __future__ import annotations

from django.apps import AppConfig


class SeasonConfig(AppConfig):
    name = "club.season"
    label = "desk"  # where its tables and migrations have always stood
    verbose_name = "the season"
