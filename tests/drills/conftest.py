from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
import redis
from django.db import connection

from club.run import broker
from tests.drills import own_postgres
from tests.drills.mail_sink import MailSink, mail_sink
from tests.drills.site import Site, child_environment

# Hosts, and beats that know nothing of each other, share a server; and a drill that restarts the database needs one of
# its own to restart. SQLite has none.
collect_ignore = []
if connection.vendor != "postgresql":
    collect_ignore += ["test_two_hosts.py", "test_two_beats.py"]
if connection.vendor != "postgresql" or own_postgres.programs() is None:
    collect_ignore += ["test_database_restarts.py"]

DRILL_DATABASE = 9  # of a Redis server that others may use too


@pytest.fixture
def broker_url(tmp_path: Path) -> Iterator[str]:
    """An empty broker: the one REDIS_URL names, or one of our own."""
    if given := os.environ.get("REDIS_URL"):
        url = urlsplit(given)._replace(path=f"/{DRILL_DATABASE}").geturl()
        with redis.from_url(url) as client:
            client.flushdb()
        yield url
    else:
        with broker.running(tmp_path / "broker") as url:
            yield url


@pytest.fixture
def sink() -> Iterator[MailSink]:
    with mail_sink() as one:
        yield one


@pytest.fixture
def drill_site(transactional_db: None, tmp_path: Path, broker_url: str, sink: MailSink) -> Iterator[Site]:
    """Nothing runs yet. Asks for the database first, so that every child is gone before the tables are emptied."""
    environment = child_environment(tmp_path / "data", broker_url=broker_url, smtp_port=sink.port)
    one = Site(tmp_path / "data", environment, sink)
    yield one
    one.supervisor.stop()
