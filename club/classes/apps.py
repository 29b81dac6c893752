from __future__ import annotations

from django.apps import AppConfig


class ClassesConfig(AppConfig):
    name = "club.classes"
    label = "classes"
