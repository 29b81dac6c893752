from __future__ import annotations

from django.apps import AppConfig


class RemindersConfig(AppConfig):
    name = "club.reminders"
    label = "reminders"
