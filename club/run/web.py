"""How gunicorn serves the site, the same for `up` and in production:

gunicorn --config python:club.run.web --bind 127.0.0.1:8000 club.wsgi
"""

from __future__ import annotations

import os

workers = int(os.environ.get("WEB_WORKERS", "2"))
worker_class = "club.run.reading.ReadingWorker"
threads = 8
worker_connections = 400  # of each worker, silent ones among them
keepalive = 5
timeout = 120  # for a worker that answers its master no more; a first start on a busy machine takes its time
graceful_timeout = 10
limit_request_line = 4094
limit_request_fields = 100
limit_request_field_size = 8190
loglevel = "warning"
control_socket_disable = True
