from __future__ import annotations

from django.apps import AppConfig


class EquipmentConfig(AppConfig):
    name = "inventory.equipment"
    label = "equipment"
