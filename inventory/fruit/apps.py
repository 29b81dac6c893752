from __future__ import annotations

from django.apps import AppConfig


class FruitConfig(AppConfig):
    name = "inventory.fruit"
    label = "fruit"
