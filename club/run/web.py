"""How gunicorn serves the site, the same for `up` and in production:

gunicorn --config python:club.run.web --bind 127.0.0.1:8000 club.wsgi
"""

from __future__ import annotations

import gc
import os
from pathlib import Path
from typing import Any

from club.core.logs import formatter

workers = int(os.environ.get("WEB_WORKERS", "2"))
worker_class = "club.run.reading.ReadingWorker"
threads = 8
preload_app = True  # read once, before the workers are forked, which share it
worker_connections = 400  # of each worker, silent ones among them
keepalive = 5
timeout = 120  # for a worker that answers its master no more; a first start on a busy machine takes its time
graceful_timeout = 10
limit_request_line = 4094
limit_request_fields = 100
limit_request_field_size = 8190
loglevel = "warning"
control_socket_disable = True
logconfig_dict = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"ours": formatter()},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "ours"}},
    "root": {"level": "WARNING", "handlers": ["console"]},
    "loggers": {"gunicorn.error": {"level": "WARNING", "handlers": ["console"], "propagate": False}},
}


def when_ready(server: Any) -> None:
    """Before the first worker: what its first page would import and read, every worker is forked with."""
    from django.conf import settings
    from django.template.loader import get_template
    from django.urls import reverse

    reverse(settings.LOGIN_REDIRECT_URL)
    for name in ("base.html", "account/login.html"):
        get_template(name)
    gc.collect()
    gc.freeze()  # a worker's collector would write to every page of memory that it shares with the others


def on_starting(server: object) -> None:
    """Figures of processes that are no more would be added to those of today for ever."""
    if folder := os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
        for old in Path(folder).glob("*.db"):
            old.unlink(missing_ok=True)
