"""club.run.web with one worker, for the drill that fills its threads."""

from __future__ import annotations

from club.run.web import *  # noqa: F403 - gunicorn reads every name of a config

workers = 1
