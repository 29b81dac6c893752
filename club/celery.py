"""The Celery application. Tasks are one-line adapters over services; every one may safely run twice."""

from __future__ import annotations

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "club.settings")

app = Celery("kettlehall")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
