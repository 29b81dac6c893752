"""The site as gunicorn serves it, with the bare view beside its pages and static files by their plain names."""

from __future__ import annotations

import os

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "club.settings")

from django.conf import settings

settings.ROOT_URLCONF = "tests.benchmarks.bare_urls"
settings.STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
settings.DATABASES["default"]["CONN_MAX_AGE"] = int(os.environ.get("BENCH_CONN_MAX_AGE", "60"))

from club.wsgi import application as application  # noqa: E402  # it reads the settings
