from __future__ import annotations

from django.apps import AppConfig


class BatchesConfig(AppConfig):
    name = "inventory.batches"
    label = "batches"
