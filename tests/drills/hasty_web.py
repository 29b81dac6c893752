"""club.run.web with little patience, for the drill that sees it end."""

from __future__ import annotations

from club.run import reading
from club.run.web import *  # noqa: F403 - gunicorn reads every name of a config

reading.READ_PATIENCE_S = reading.BODY_PATIENCE_S = 1.0
workers = 1
