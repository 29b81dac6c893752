from __future__ import annotations

from django.apps import AppConfig


class JarsConfig(AppConfig):
    name = "inventory.jars"
    label = "jars"
